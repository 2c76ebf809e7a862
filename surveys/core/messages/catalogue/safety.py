"""Safety notes: the hazard, its consequence, and how to protect against it.

That the site's permit takes precedence is stated once on each page and document, not in each note.
"""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry, choose

ENTRIES = {
    "hot-surface": Entry(
        title=_("Hot surface"),
        detail=(
            _("The pipe may be at {temperature:.0}."),
            choose(
                "contact",
                seconds=_("From {threshold:.0}, bare metal burns skin within about 5 s of contact."),
                a_minute=_("From {threshold:.0}, bare metal burns skin within about a minute of contact."),
                otherwise=_("From {threshold:.0}, bare metal can burn skin in hours of contact."),
            ),
        ),
        remedy=_("Wear heat-resistant gloves. Keep hot couplant off the skin."),
    ),
    "cold-surface": Entry(
        title=_("Cold surface"),
        detail=_("The pipe may be at {temperature:.0}. Bare skin can freeze to the metal."),
        remedy=_("Wear insulated gloves."),
    ),
    "asbestos-cement": Entry(
        title=_("Asbestos cement pipe"),
        detail=_("Sanding, scraping or brushing the surface releases asbestos fibres."),
        remedy=_(
            "Never sand, scrape or wire-brush the pipe. Wet the surface only as the site's rules allow."
        ),
    ),
    "pressure": Entry(
        title=_("Pipe under pressure"),
        detail=_("The gauge pressure is about {overpressure:bar.1}. A thin wall can burst."),
        remedy=_(
            "Do not grind or file a pipe under pressure. Check the wall thickness before you clean the surface."
        ),
    ),
    "hazardous-area": Entry(
        title=_("Hazardous area"),
        detail=_("An explosive atmosphere may be present, and equipment can ignite the gas."),
        remedy=_(
            "Use only equipment certified for the zone. Work only with the site's permit and a gas test."
        ),
    ),
    "work-at-height": Entry(
        title=_("Work at height"),
        detail=_("A fall can kill."),
        remedy=_("Avoid work at height, or secure yourself as the site's rules and local law require."),
    ),
    "confined-space": Entry(
        title=_("Confined space"),
        detail=_("The air may be poisonous or short of oxygen."),
        remedy=_("Enter only with a permit, a gas test, an attendant and a rescue plan."),
    ),
    "asbestos-lagging": Entry(
        title=_("Lagging may contain asbestos"),
        detail=_("Disturbed lagging releases asbestos fibres."),
        remedy=_("Do not disturb the lagging. Ask for the asbestos register or a survey first."),
    ),
    "high-pressure": Entry(
        title=_("High pressure"),
        detail=_("A thin wall can burst."),
        remedy=_(
            "Do not grind or file a pipe under pressure. Check the wall thickness before you clean the surface."
        ),
    ),
    "traffic": Entry(
        title=_("Traffic or moving plant"),
        detail=_("Vehicles and machines can hit people at the measuring point."),
        remedy=_("Close off and guard the work area."),
    ),
    "general": Entry(
        title=_("Before you start"),
        detail=_("The hazards listed may be incomplete."),
        remedy=(
            _("Obtain the site permit and induction, which take precedence over these notes."),
            _("Find out the hazards of the plant and the medium. Tell someone where you will be working."),
        ),
    ),
}
