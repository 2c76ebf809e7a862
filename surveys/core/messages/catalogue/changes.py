"""Reasons of recalculations, notices and changes of state that the service writes itself."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry, when

CONDITION = _("Condition: “{condition}”.")

ENTRIES = {
    "certificate-recorded": Entry(
        title=_("Certificate recorded"), detail=_("Certificate {certificate} of {on} is recorded.")
    ),
    "certificate-corrected": Entry(
        title=_("Certificate corrected"),
        detail=_("The certificate was entered wrongly and has been corrected."),
    ),
    "interval-review-accepted": Entry(
        title=_("Interval review"), detail=_("Interval review of {on} (reason: “{reason}”).")
    ),
    "custom-material-revised": Entry(
        title=_("Custom material revised"),
        detail=_("The custom material {name} is revised (reason: “{reason}”)."),
    ),
    "custom-medium-revised": Entry(
        title=_("Custom medium revised"),
        detail=_("The custom medium {name} is revised (reason: “{reason}”)."),
    ),
    "error-curves-applied": Entry(
        title=_("Error curves applied"), detail=_("Results from {on} are corrected by error curves.")
    ),
    "error-curves-applied/not": Entry(
        title=_("Error curves not applied"), detail=_("Results from {on} are not corrected by error curves.")
    ),
    "instrument-out-of-tolerance": Entry(
        title=_("Instrument out of tolerance"),
        detail=_("{instrument} was found out of tolerance on {on} (certificate {certificate})."),
    ),
    "as-found-corrected": Entry(
        title=_("Error found corrected"),
        detail=_("The measurement error found by certificate {certificate} is corrected."),
    ),
    "part-withdrawn": Entry(
        title=_("Result withdrawn"), detail=_("The survey {survey} is withdrawn (reason: “{reason}”).")
    ),
    "parts-withdrawn": Entry(title=_("Results withdrawn"), detail="{parts}"),
    "combination-created": Entry(
        title=_("Combination created"), detail=_("The combination “{name}” was created.")
    ),
    "combination-restored": Entry(
        title=_("Combination restored"), detail=_("The combination “{name}” was restored.")
    ),
    "part-log-imported": Entry(title=_("Log imported"), detail=_("The log of a part was imported.")),
    "part-log-imported/further-path": Entry(
        title=_("Log imported"), detail=_("The log of a further path was imported.")
    ),
    "plan-accepted": Entry(title=_("Plan accepted"), detail=_("A plan was accepted.")),
    "first-entry": Entry(title=_("First entry"), detail=_("First entry of the record.")),
    "handed-over": Entry(
        title=_("Checked out"), detail=(_("Check-out for “{job}”."), when("condition", CONDITION))
    ),
    "handed-over/back": Entry(
        title=_("Checked in"), detail=(_("Check-in from “{job}”."), when("condition", CONDITION))
    ),
    "quarantined-by-check": Entry(
        title=_("Quarantined"), detail=(_("The check of {on} is out of limits."), "{outcome}")
    ),
    "quarantined-by-check/two-meters": Entry(
        title=_("Quarantined"),
        detail=(
            _("The check of {on} is out of limits."),
            "{outcome}",
            _("It is not known which of the two meters is wrong."),
        ),
        remedy=_("Check both meters against a reference."),
    ),
}
