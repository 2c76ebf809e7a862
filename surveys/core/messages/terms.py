"""Words that messages choose from: directions, states, kinds."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

TERMS: Mapping[str, Promise] = {
    "upstream": _("upstream"),
    "downstream": _("downstream"),
    "too-high": _("too high"),
    "too-low": _("too low"),
    "higher": _("higher"),
    "lower": _("lower"),
    "accepted": _("accepted"),
    "rejected": _("rejected"),
    "review-confirmed": _("confirmed"),
    "review-corrected": _("corrected"),
    "review-under-review": _("under review"),
    "review-void": _("void"),
    "review-withdrawn": _("withdrawn"),
    "check-within": _("within limits"),
    "check-warning": _("warning"),
    "check-out": _("out of limits"),
    "day": _("day"),
    "days": _("days"),
    "hour": _("hour"),
    "hours": _("hours"),
    "too-close": _("too close"),
    "too-far": _("too far"),
    "too-hot": _("too hot"),
    "too-cold": _("too cold"),
    "wall": _("wall"),
    "lining": _("lining"),
    "medium": _("medium"),
    "longitudinal": _("longitudinal"),
    "shear": _("shear"),
    "single-bend": _("a single 90° bend"),
    "two-bends-in-plane": _("two bends in one plane"),
    "two-bends-out-of-plane": _("two bends out of plane"),
    "tee": _("a tee or side inlet"),
    "expander": _("an expander"),
    "reducer": _("a concentric reducer"),
    "valve": _("a throttling valve"),
    "pump": _("a pump"),
    "atmospheric-pressure": _("atmospheric pressure"),
    "boiling-pressure": _("the boiling pressure"),
    "reynolds-number": _("Reynolds number"),
    "relative-roughness": _("relative roughness"),
    "password-too-short": _("too short"),
    "password-too-common": _("too common"),
    "password-too-similar": _("too similar to the user name or the e-mail address"),
    "password-entirely-numeric": _("made of digits only"),
    "larger": _("larger"),
    "smaller": _("smaller"),
    "length": _("length"),
    "roughness": _("roughness"),
    "speed": _("speed"),
    "volume-flow": _("volume flow"),
    "temperature": _("temperature"),
    "temperature-difference": _("temperature difference"),
    "transit-time": _("transit time"),
    "time-difference": _("time difference"),
    "duration": _("duration"),
    "pressure": _("pressure"),
    "density": _("density"),
    "dynamic-viscosity": _("dynamic viscosity"),
    "frequency": _("frequency"),
    "angle": _("angle"),
    "time-per-velocity": _("time difference per velocity"),
    "salinity": _("salinity"),
    "thermal-expansion": _("coefficient of thermal expansion"),
    "speed-per-temperature": _("change of speed with temperature"),
    "ratio-db": _("ratio in dB"),
}


def word_of(slug: str) -> str:
    """The word of a slug; one that is not listed with spaces for its hyphens."""
    listed = TERMS.get(slug)
    return str(listed) if listed is not None else slug.replace("-", " ")
