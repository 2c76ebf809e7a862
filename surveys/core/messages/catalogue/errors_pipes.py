"""Rejections about pipes and their data."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry

PIPE_NOT_POSSIBLE = Entry(
    title=_("Pipe not possible with the new data"),
    detail=_("{cause} The pipe {pipe} cannot be calculated with the new data."),
    remedy=_("Check the new data, or correct the pipe data."),
)

ENTRIES = {
    "already-corrected/pipe-data": Entry(
        title=_("Pipe data already corrected"),
        detail=_("This version of the pipe data has already been corrected."),
        remedy=_("Reload the pipe and correct the version in force."),
    ),
    "no-pipe-data/set-up": Entry(
        title=_("No pipe data"),
        detail=_("This pipe has no data yet."),
        remedy=_("Enter the pipe data before the set-up."),
    ),
    "no-transducer-data": Entry(
        title=_("No transducer data"),
        detail=_("The data of this transducer pair are not recorded."),
        remedy=_("Enter the transducer data at the instrument."),
    ),
    "wrong-instrument/not-a-transducer-pair": Entry(
        title=_("Not a transducer pair"),
        detail=_("The selected instrument is not a transducer pair."),
        remedy=_("Select a transducer pair."),
    ),
    "wrong-instrument/not-a-meter": Entry(
        title=_("Not a meter"),
        detail=_("The selected instrument is not a meter."),
        remedy=_("Select a meter."),
    ),
    "wrong-instrument/not-a-thickness-gauge": Entry(
        title=_("Not a thickness gauge"),
        detail=_("The selected instrument is not a thickness gauge."),
        remedy=_("Select a thickness gauge."),
    ),
    "gauge-uncertainty-missing": Entry(
        title=_("Uncertainty of gauge not recorded"),
        detail=_("The standard uncertainty of the thickness gauge is not recorded."),
        remedy=_("Enter the uncertainty at the instrument."),
    ),
    "other-pipe/pipe-data": Entry(
        title=_("Data of another pipe"),
        detail=_("The version to correct belongs to a different pipe."),
        remedy=_("Select a version of this pipe."),
    ),
    "other-pipe/wall-measurement": Entry(
        title=_("Measurement of another pipe"),
        detail=_("The wall thickness measurement belongs to a different pipe."),
        remedy=_("Select a measurement of this pipe."),
    ),
    "revised-meanwhile": Entry(
        title=_("Library revised since you read it"),
        detail=_("{name} was revised while the request was processed."),
        remedy=_("Send the request again."),
    ),
    "name-taken": Entry(
        title=_("Name already in library"),
        detail=_("The library already contains '{name}'."),
        remedy=_("Enter a different name."),
    ),
    "shear-not-slower": Entry(
        title=_("Sound speeds not possible"),
        detail=_(
            "The shear sound speed {shear} is not below the longitudinal sound speed {longitudinal}. In a solid, shear waves are slower."
        ),
        remedy=_("Check whether the two values are interchanged."),
    ),
    "out-of-range/pipe": PIPE_NOT_POSSIBLE,
    "not-enough-data/pipe": PIPE_NOT_POSSIBLE,
    "no-pipe-data/correction": Entry(
        title=_("No pipe data"),
        detail=_("This pipe has no data to correct."),
        remedy=_("Enter the pipe data."),
    ),
}
