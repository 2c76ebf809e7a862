"""Labels of the fields of requests and records, as messages name them; lower case, `{field:cap}` begins a sentence."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

# By path, or by the last parts of one: `wall_thickness` serves every path that ends so.
FIELDS: Mapping[str, Promise] = {
    "pipe.outer_diameter": _("outer diameter"),
    "pipe.wall_thickness": _("wall thickness"),
    "pipe.material": _("pipe material"),
    "pipe.roughness": _("roughness"),
    "pipe.lining.thickness": _("lining thickness"),
    "pipe.lining.material": _("lining material"),
    "pipe.lining": _("lining"),
    "medium.temperature": _("temperature of the medium"),
    "medium.pressure": _("absolute pressure of the medium"),
    "medium.sound_speed": _("sound speed of the medium"),
    "medium.density": _("density of the medium"),
    "medium.dynamic_viscosity": _("dynamic viscosity of the medium"),
    "medium.salinity": _("salinity"),
    "medium.mass_fraction": _("mass fraction"),
    "transducers.wedge_angle": _("wedge angle"),
    "transducers.wedge_sound_speed": _("sound speed of the wedge"),
    "transducers.wedge_delay": _("wedge delay"),
    "transducers.wedge_temperature": _("temperature of the wedge"),
    "pipe.wall_sound_speed": _("sound speed of the wall"),
    "pipe.lining.sound_speed": _("sound speed of the lining"),
    "transducers.face_offset": _("face offset"),
    "transducers.frequency": _("frequency"),
    "transducers.min_temperature": _("lowest temperature of the transducers"),
    "transducers.max_temperature": _("highest temperature of the transducers"),
    "traverses": _("number of traverses"),
    "mounted_spacing": _("mounted spacing"),
    "expected_velocity": _("expected velocity"),
    "upstream_straight_length": _("upstream straight length"),
    "downstream_straight_length": _("downstream straight length"),
    "readings.transit_time": _("transit time"),
    "readings.time_difference": _("time difference"),
    "readings.sound_speed": _("sound speed"),
    "readings.signal_to_noise": _("signal-to-noise ratio"),
    "readings.medium_temperature": _("temperature of the medium"),
    "medium.api_gravity": _("API gravity"),
    "interval.days": _("days of the interval"),
    "interval.hours": _("hours of the interval"),
    "interval.months": _("months of the interval"),
    "hours_used": _("hours of use"),
    "calibrated_on": _("calibration date"),
    "due_on": _("due date"),
    "issued_on": _("date of issue"),
    "started_at": _("start time"),
    "ended_at": _("end time"),
    "starts_at": _("start time"),
    "ends_at": _("end time"),
    "performed_at": _("time of the check"),
    "valid_from": _("first day of validity"),
    "valid_until": _("last day of validity"),
    "expires_at": _("expiry time"),
    "expected_back": _("expected return"),
    "email": _("e-mail address"),
    "one_time_code": _("one-time code"),
    "username": _("user name"),
    "type_name": _("instrument type"),
    "serial": _("serial number"),
    "in_tolerance": _("number in tolerance"),
    "max_days": _("longest interval in days"),
    "max_hours": _("longest interval in hours"),
    "fraction_of_limit": _("fraction of the permissible error"),
    "pipe.dimensions_temperature": _("temperature of the dimensions"),
    "pipe.max_outer_diameter": _("largest outer diameter"),
    "pipe.min_outer_diameter": _("smallest outer diameter"),
    "pipe.further_linings.material": _("lining material"),
    "pipe.further_linings.thickness": _("lining thickness"),
    "medium.name": _("name of the medium"),
    "transducers.wedge_reference_temperature": _("reference temperature of the wedge"),
    "transducers.wedge_temperature_coefficient": _("temperature coefficient of the wedge"),
    "gauge_uncertainty": _("standard uncertainty of the gauge"),
    "gauge_velocity_setting": _("velocity setting of the gauge"),
    "wall_sound_speed_uncertainty": _("uncertainty of the sound speed of the wall"),
    "readings.flow_velocity": _("flow velocity"),
    "readings.volume_flow": _("volume flow"),
    "pipe.wave_mode": _("wave mode of the wall"),
    "pipe.further_linings": _("inner linings"),
    "medium": _("medium"),
    "transducers": _("data of the transducers"),
    "segments": _("segments of the log"),
    "outliers": _("outliers of the log"),
    "segment_start": _("start"),
    "segment_end": _("end"),
    "segment_reason": _("reason"),
    "programmed": _("set-up entered in the meter"),
    "calibrations": _("calibration certificates"),
    "certificate": _("certificate"),
    "error_corrections": _("error corrections of the instruments"),
    "instrument": _("instrument"),
    "as_found_corrections": _("corrections of as-found errors"),
    "wall_measurement": _("wall thickness measurement"),
    "method_version": _("version of the calculation method"),
    "remainder": _("data without a record of the change, such as the measuring point"),
    "inputs_together": _("all changed data together"),
}


def label_of(path: str) -> str:
    """Return the label of a field by its path, such as `pipe.wall_thickness` or `readings.0.transit_time`; otherwise its
    name in words.
    """
    names = [name for name in path.split(".") if not name.isdecimal()]
    for start in range(len(names)):
        if label := FIELDS.get(".".join(names[start:])):
            return str(label)
    return names[-1].replace("_", " ") if names else ""
