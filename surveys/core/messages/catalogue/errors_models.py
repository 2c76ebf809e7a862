"""Rejections by the rules of the models of sites, pipes, measuring points and instruments."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry

ENTRIES = {
    "time-zone-unknown": Entry(
        title=_("Time zone unknown"),
        detail=_("'{name}' is not a time zone."),
        remedy=_("Enter a time zone such as Europe/Copenhagen."),
    ),
    "unknown-name/disturbance": Entry(
        title=_("Disturbance unknown"),
        detail=_("'{name}' is not a disturbance with a recommended straight length."),
        remedy=_("Available disturbances: {known}."),
    ),
    "unknown-name/hazards": Entry(
        title=_("Hazards not valid"),
        detail=_("The hazards are not a list of known hazards."),
        remedy=_("Available hazards: {known}."),
    ),
    "belongs-to-invalid/itself": Entry(
        title=_("Accessory of itself"),
        detail=_("An instrument cannot be an accessory of itself."),
        remedy=_("Select a different instrument."),
    ),
    "belongs-to-invalid/accessory": Entry(
        title=_("Instrument is an accessory"),
        detail=_("The {instrument} is itself an accessory."),
        remedy=_("Select the instrument that the accessory belongs to."),
    ),
    "belongs-to-invalid/has-accessories": Entry(
        title=_("Instrument has accessories"),
        detail=_("An instrument with accessories cannot be an accessory itself."),
        remedy=_("Remove its accessories first."),
    ),
}
