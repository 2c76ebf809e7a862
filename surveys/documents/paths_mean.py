"""A survey's path with the others measured at the point: their mean first, for that is what the flow is taken to be."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from compute.base.units import System
from surveys.documents.formatting import findings_worded, flow_with_uncertainty, heading, worded
from surveys.documents.pdf import PdfDocument
from surveys.models import CombinedResult, Result


@dataclass(frozen=True, slots=True)
class ToldMean:
    """The mean of paths with its uncertainty, of how many, and what the checks say of them together."""

    flow: str
    coverage_factor: float
    paths: int
    findings: list[dict[str, Any]]


def mean_told(together: CombinedResult, units: System) -> ToldMean:
    """As pages tell it."""
    return ToldMean(
        flow_with_uncertainty(together.volume_flow_m3_s, together.expanded_uncertainty_m3_s, units),
        together.coverage_factor,
        len(together.parts),
        findings_worded(together.findings, units),
    )


def paths_figure(pdf: PdfDocument, together: CombinedResult, units: System) -> None:
    """The mean, as the figure a reader looks for."""
    pdf.figure(
        f"Volume flow, mean of the {len(together.parts)} paths measured together",
        flow_with_uncertainty(together.volume_flow_m3_s, together.expanded_uncertainty_m3_s, units),
        "The true flow lies within the ± with a probability of about 95 %. What the paths share is counted once.",
    )


def paths_table(pdf: PdfDocument, result: Result, together: CombinedResult, units: System) -> None:
    """Each path with its own figure, how far they lie apart, and what the checks say of them together."""
    paths = together.results.select_related("survey", "survey_data").order_by(
        "survey__started_at", "survey_id"
    )
    zone = result.survey.measuring_point.pipe.site.zone
    rows = [
        [
            f"{one.survey.started_at.astimezone(zone):%Y-%m-%d %H:%M}"
            + (" (this report)" if one.survey_id == result.survey_id else ""),
            _plane(one, units),
            flow_with_uncertainty(one.volume_flow_m3_s, one.expanded_uncertainty_m3_s, units),
        ]
        for one in paths
    ]
    pdf.heading("Paths measured together")
    pdf.table(["Path", "Place round the pipe", "Volume flow"], rows, right=1)
    mean = flow_with_uncertainty(together.volume_flow_m3_s, together.expanded_uncertainty_m3_s, units)
    pdf.facts(
        [
            ("Mean", f"{mean}, coverage factor {together.coverage_factor:.2f} for 95 %"),
            ("Largest less smallest", worded(together.range_m3_s, "volume_flow", units)),
        ]
    )
    for finding in findings_worded(together.findings, units):
        pdf.callout(heading(finding), finding["body"], finding["severity"])


def _plane(result: Result, units: System) -> str:
    plane = result.survey_data.path_angle_rad
    return "not noted" if plane is None else worded(plane, "angle", units, 0)
