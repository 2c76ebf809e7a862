"""Comparison of a result with the site meter, as pages and documents show it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.utils.translation import gettext

from compute.base.units import System
from surveys.documents.changes import difference_text
from surveys.documents.formatting import flow_with_uncertainty, format_quantity
from surveys.models import CombinedResult, Result, SiteMeterReading, Survey
from surveys.results.site_meter_comparison import compare_with_site_meter, site_meter_reading_at, verdict


@dataclass(frozen=True, slots=True)
class ComparisonText:
    """Flow of the site meter with its uncertainty if known, the difference, and the conclusion."""

    reading: SiteMeterReading
    flow: str
    difference: str
    agrees: bool | None
    verdict: str


def comparison_text(
    survey: Survey, found: Result | CombinedResult, units: System, at: datetime | None = None
) -> ComparisonText | None:
    """Return the comparison with the reading recorded at a time, or now; None if no reading is recorded."""
    reading = site_meter_reading_at(survey, at)
    if reading is None:
        return None
    flow, expanded = reading.volume_flow_m3_s, reading.expanded_uncertainty_m3_s
    comparison = compare_with_site_meter(reading, found)
    return ComparisonText(
        reading,
        format_quantity(flow, "volume_flow", units)
        if expanded is None
        else flow_with_uncertainty(flow, expanded, units),
        difference_text(
            comparison.difference_m3_s, comparison.relative, found.expanded_uncertainty_m3_s, units
        )
        or gettext("no change"),
        comparison.agrees,
        verdict(comparison),
    )
