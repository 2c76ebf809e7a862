"""Findings on the medium, the set-up, the measuring location and the equipment."""

from django.utils.translation import gettext_lazy as _

from surveys.core.messages.texts import Entry, choose, first_of, when

NO_REFRACTED_WAVE = (
    _(
        "No {wave_mode} wave propagates in the {layer}: its sound speed of {sound_speed:.0} is above the axial speed of {axial_speed:.0}."
    ),
    _("The wedge angle of {wedge_angle} is above the limit of {critical_angle}."),
)
CHECK_MATERIAL_AND_WEDGE = _("Check the material and the wedge angle.")
UNSUITABLE = _("{traverses} traverses unsuitable")

ENTRIES = {
    "temperature-estimated": Entry(
        title=_("Temperature estimated ({temperature})"),
        detail=_(
            "The temperature affects the transducer spacing and the viscosity, and so the profile factor. The sound speed itself is measured."
        ),
        remedy=_("Measure the temperature of the medium or of the pipe surface if you can."),
    ),
    "transducer-temperature": Entry(
        title=choose(
            "direction",
            too_hot=_("Medium too hot for the transducers"),
            otherwise=_("Medium too cold for the transducers"),
        ),
        detail=_("The medium is at {temperature}; the limit of these transducers is {limit}."),
        remedy=_("Choose another transducer pair."),
    ),
    "spacing-too-small": Entry(
        title=_("Transducers would overlap"),
        detail=_("The required spacing on the same side of the pipe is {spacing}."),
        remedy=_("Enter more traverses, or an odd number of traverses."),
    ),
    "spacing-too-long": Entry(
        title=_("Straight length shorter than the spacing"),
        detail=_("The required spacing is {spacing:m}; the straight length at the point is {available:m}."),
        remedy=_("Enter fewer traverses, or choose another location."),
    ),
    "spacing-wrong": Entry(
        title=_("Transducer spacing is wrong"),
        detail=(
            _("Mounted at {mounted}; required for this pipe {required} ({difference:abs} {direction})."),
            when(
                "flow_change",
                _("The calculation uses the mounted spacing: the flow changes by {flow_change:+%.2}."),
            ),
            _("The signal is weaker."),
        ),
        remedy=_("Check the recorded spacing. Remount at {required} and repeat the log."),
    ),
    "calibration-missing": Entry(
        title=_("No calibration recorded"),
        detail=_("{instrument:cap} had no recorded calibration on {surveyed_on}."),
        remedy=_("Record the certificate that was valid on that day."),
    ),
    "calibration-expired": Entry(
        title=_("Calibration overdue"),
        detail=(
            _("{instrument:cap} was due for calibration on {due_on}; the survey was on {surveyed_on}."),
            _("The result is provisional until the as-found results of the next calibration are known."),
        ),
    ),
    "dimensions-expanded": Entry(
        title=_("Dimensions corrected for temperature"),
        detail=(
            _("The dimensions were measured at {measured_at:.0}; the medium is at {temperature:.0}."),
            choose(
                "direction",
                smaller=_(
                    "The pipe is {change:abs%.2} smaller, and the calculated flow {flow_change:abs%.2} lower."
                ),
                otherwise=_(
                    "The pipe is {change:abs%.2} larger, and the calculated flow {flow_change:abs%.2} higher."
                ),
            ),
        ),
    ),
    "wedge-temperature-assumed": Entry(
        title=_("Wedge temperature assumed"),
        detail=(
            _("The wedge is assumed to be at the temperature of the medium, {temperature:.0}."),
            _("A wedge sound speed of {sound_speed:.0} is used instead of {entered:.0}."),
        ),
        remedy=_("Let the wedge reach the temperature of the pipe before you start the log."),
    ),
    "wedge-coefficient-default": Entry(
        title=_("Default temperature coefficient of the wedge"),
        detail=(
            first_of(
                when(
                    "plastic",
                    _(
                        "The transducer data has no temperature coefficient. The default of {plastic}, {coefficient}, is used at {temperature:.0}."
                    ),
                ),
                _(
                    "The transducer data has no temperature coefficient. The default of plastics, {coefficient}, is used at {temperature:.0}."
                ),
            ),
            _(
                "The wedge sound speed is {sound_speed:.0} instead of {entered:.0}, which changes the flow by about {flow_change:+%.1}."
            ),
        ),
        remedy=_("Record the temperature coefficient of the transducer pair."),
    ),
    "pipe-out-of-round": Entry(
        title=_("Pipe is out of round"),
        detail=(
            _("The outer diameter is {smallest} to {largest}."),
            _("The flow of this pipe has an additional standard uncertainty of {flow_uncertainty:%.2}."),
            _(
                "The measured sound speed can differ by {path_uncertainty:%}, because the path length is not known."
            ),
        ),
        remedy=_("Measure the outer diameter by the circumference."),
    ),
    "near-critical-angle": Entry(
        title=_("Wedge angle is near the critical angle"),
        detail=(
            _(
                "In the {layer} the beam is at {angle:.1}; the wedge angle of {wedge_angle:.2} is near the critical angle of {critical_angle:.2}."
            ),
            first_of(
                when(
                    "change",
                    _(
                        "A step of {step:.2} in the wedge angle changes the spacing of {spacing:.0} by {change:.0}."
                    ),
                ),
                _("A step of {step:.2} in the wedge angle leaves no beam."),
            ),
        ),
        remedy=_(
            "Check the wedge angle on the transducers, or select a transducer pair with a smaller wedge angle."
        ),
    ),
    "spacing-not-possible": Entry(
        title=_("Rail does not allow the spacing"),
        detail=choose(
            "short",
            true=_("The spacing of {spacing} is below the minimum of the rail, {limit}."),
            false=_("The spacing of {spacing} is above the maximum of the rail, {limit}."),
        ),
        remedy=_("Select another number of traverses or another transducer pair."),
    ),
    "wall-thickness-uneven": Entry(
        title=_("Wall thickness varies around the pipe"),
        detail=_("The readings are {minimum} to {maximum}, from wear or manufacture."),
        remedy=(
            _("Measure at more positions, including the transducer positions."),
            _("Report the minimum of {minimum} to the owner of the pipe."),
        ),
    ),
    "gauge-velocity-corrected": Entry(
        title=_("Gauge readings corrected"),
        detail=_(
            "The gauge was set to a sound speed other than that of the pipe material. All readings are multiplied by {factor:.4}."
        ),
    ),
    "wave-mode-ambiguous": Entry(
        title=_("Two wave modes possible"),
        detail=(
            _("A {wave_mode} wave in the wall is assumed, but a {other_wave_mode} wave could propagate too."),
            _(
                "If the assumption is wrong, the spacing is {difference:abs} {direction} and the flow {flow_change:abs%} {flow_direction}."
            ),
        ),
        remedy=_("Check the wedge angle and the sound speeds of the pipe material."),
    ),
    "no-refracted-wave": Entry(
        title=_("No beam through the {layer}"),
        detail=NO_REFRACTED_WAVE,
        remedy=CHECK_MATERIAL_AND_WEDGE,
    ),
    "traverses-chosen": Entry(
        title=_("Number of traverses recommended"),
        detail=(
            when("reasons", _("{reasons} The most suitable number is used.")),
            choose(
                "traverses",
                **{
                    "1": _("1 traverse (Z) is used: the transducers are on opposite sides."),
                    "2": _(
                        "2 traverses (V) are used: both transducers are on one side, and cross-flow cancels."
                    ),
                    "3": _("3 traverses (N) are used: the transducers are on opposite sides."),
                    "4": _("4 traverses (W) are used: both transducers are on one side."),
                },
                otherwise=_("{traverses} traverses are used."),
            ),
        ),
    ),
    "traverses-unsuitable/time-difference-small": Entry(
        title=UNSUITABLE,
        detail=_("The time difference is only {time_difference:.1}; at least {needed:.0} is needed."),
    ),
    "traverses-unsuitable/beam-long": Entry(
        title=UNSUITABLE,
        detail=_("The beam in the medium is {beam:m} long; the limit at this frequency is {limit:m}."),
    ),
    "traverses-unsuitable/spacing-small": Entry(
        title=UNSUITABLE,
        detail=_("The spacing is {spacing}; at least {limit:g} is needed on the same side."),
    ),
    "traverses-unsuitable/spacing-long": Entry(
        title=UNSUITABLE,
        detail=_("The spacing is {spacing:m}; the straight length is {available:m}."),
    ),
    "medium-frozen": Entry(
        title=_("Medium frozen"),
        detail=_(
            "{medium:cap} freezes at {freezing:.2}, and {temperature} is entered. The properties at {used:.2} are used, so the flow may be wrong."
        ),
        remedy=_("Check the temperature, or select the mixture that stays liquid."),
    ),
    "medium-outside-range": Entry(
        title=_("Temperature outside the property data"),
        detail=_(
            "{temperature} is outside the range of the property data of {medium}. The properties at {limit} are used."
        ),
        remedy=_("Check the temperature, or enter measured properties."),
    ),
    "medium-outside-range/table": Entry(
        title=_("Temperature outside the property table"),
        detail=_(
            "{temperature} is outside the property table of {medium}. The properties at {limit} are used."
        ),
        remedy=_("Check the temperature, or add a row to the table."),
    ),
    "medium-boiling": Entry(
        title=_("Medium boils"),
        detail=(
            _("At {temperature}, {medium} boils below {boiling}; {pressure} absolute is entered."),
            _("The properties at the boiling pressure are used, and vapour may stop the signal."),
        ),
        remedy=_("Check the pressure and the temperature."),
    ),
    "pressure-assumed": Entry(
        title=_("Pressure assumed"),
        detail=(
            _("No pressure was entered; {pressure} absolute is used ({assumed})."),
            choose(
                "units",
                us=_(
                    "An increase of 15 psi changes the sound speed by about 0.01 % in water and 0.03 % in oils."
                ),
                otherwise=_(
                    "An increase of 100 kPa changes the sound speed by about 0.01 % in water and 0.03 % in oils."
                ),
            ),
        ),
        remedy=_("Enter the pressure if you know it, above all near the boiling point."),
    ),
    "medium-figures-uncertain": Entry(
        title=_("Properties of the medium uncertain"),
        detail=(
            _(
                "The sound speed of {medium} is uncertain by about {sound_speed_uncertainty:%}, its viscosity by {viscosity_uncertainty:%.0}."
            ),
            _("The sound speed on site is measured with the transit times."),
        ),
        remedy=_("Enter the viscosity from a data sheet if you have one."),
    ),
    "straight-length-unknown": Entry(
        title=_("Straight lengths not entered"),
        detail=(
            _("The straight lengths or the disturbance upstream are not entered."),
            _("The flow profile adds a standard uncertainty of {uncertainty:%.1} to the flow."),
        ),
        remedy=_("Measure the straight lengths and enter them with the disturbance at the measuring point."),
    ),
    "straight-length-short": Entry(
        title=choose(
            "side",
            downstream=_("Downstream straight length too short"),
            otherwise=_("Upstream straight length too short"),
        ),
        detail=(
            first_of(
                when(
                    "disturbance",
                    choose(
                        "side",
                        downstream=_(
                            "{length:m} ({diameters:.3g} D) available; {needed_diameters:g} D ({needed:m}) recommended with {disturbance} upstream."
                        ),
                        otherwise=_(
                            "{length:m} ({diameters:.3g} D) available; {needed_diameters:g} D ({needed:m}) recommended after {disturbance}."
                        ),
                    ),
                ),
                _(
                    "{length:m} ({diameters:.3g} D) available; at least {needed_diameters:g} D ({needed:m}) recommended."
                ),
            ),
            _("The flow profile is disturbed."),
        ),
        remedy=_("Choose another location, or measure on two diameters at 90° and increase the uncertainty."),
    ),
    "top-or-bottom-mounting": Entry(
        title=_("Transducers at the top or bottom"),
        detail=_(
            "In a horizontal pipe, gas collects at the top and deposits at the bottom; both weaken the signal."
        ),
        remedy=_("Mount the transducers within 45° of the horizontal diameter."),
    ),
    "partly-filled-pipe": Entry(
        title=_("Pipe may be partly filled"),
        detail=(
            choose("downward", true=_("The flow is downward.")),
            _("A transit-time meter assumes a full pipe, so the calculated flow would be too high."),
        ),
        remedy=_("Measure where the pipe rises or is under pressure."),
    ),
}
