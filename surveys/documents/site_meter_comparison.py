"""A result beside what the site's own meter said, as pages and papers tell it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from compute.base.units import System
from surveys.documents.changes import difference_told
from surveys.documents.formatting import flow_with_uncertainty, worded
from surveys.models import CombinedResult, Result, SiteMeterReading, Survey
from surveys.results.site_meter_comparison import compare_with_site_meter, site_meter_reading_at, verdict


@dataclass(frozen=True, slots=True)
class ToldBeside:
    """The site meter's flow with its uncertainty if it has one, the survey less it, and what that says."""

    reading: SiteMeterReading
    flow: str
    difference: str
    agrees: bool | None
    verdict: str


def beside_told(
    survey: Survey, found: Result | CombinedResult, units: System, at: datetime | None = None
) -> ToldBeside | None:
    """As the reading was stated at a time, or as it is stated now; None if nobody wrote one down."""
    reading = site_meter_reading_at(survey, at)
    if reading is None:
        return None
    flow, expanded = reading.volume_flow_m3_s, reading.expanded_uncertainty_m3_s
    beside = compare_with_site_meter(reading, found)
    return ToldBeside(
        reading,
        worded(flow, "volume_flow", units)
        if expanded is None
        else flow_with_uncertainty(flow, expanded, units),
        difference_told(beside.difference_m3_s, beside.relative, units) or "none to see",
        beside.agrees,
        verdict(beside),
    )
