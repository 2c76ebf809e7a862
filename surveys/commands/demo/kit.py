"""Transducer pair of the demo as input of the physics."""

from compute.base.units import parse_quantity
from compute.measuring.beam import Transducers
from compute.measuring.entries import TransducerEntry
from surveys.commands.demo import scenario


def transducer_entry() -> TransducerEntry:
    """Return the transducer pair of the scenario."""
    pair = Transducers(
        frequency=parse_quantity(scenario.FREQUENCY, "frequency").si,
        wedge_sound_speed=parse_quantity(scenario.WEDGE_SOUND_SPEED, "speed").si,
        wedge_angle=parse_quantity(scenario.WEDGE_ANGLE, "angle").si,
        face_offset=parse_quantity(scenario.FACE_OFFSET, "length").si,
        wedge_delay=parse_quantity(scenario.WEDGE_DELAY, "transit_time").si,
    )
    return TransducerEntry(
        pair,
        parse_quantity(scenario.MIN_TEMPERATURE, "temperature").si,
        parse_quantity(scenario.MAX_TEMPERATURE, "temperature").si,
        parse_quantity(scenario.WEDGE_TEMPERATURE_COEFFICIENT, "speed_per_temperature").si,
        parse_quantity(scenario.WEDGE_REFERENCE_TEMPERATURE, "temperature").si,
    )
