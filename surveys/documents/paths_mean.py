"""Paths of a survey measured at one point: their mean, which is the flow, and the result of each path."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from django.utils.translation import gettext

from compute.base.units import System
from surveys.documents.formatting import (
    finding_texts,
    flow_with_uncertainty,
    format_quantity,
    heading,
    moment,
)
from surveys.documents.pdf import PdfDocument
from surveys.models import CombinedResult, Result


@dataclass(frozen=True, slots=True)
class MeanText:
    """Mean of paths with its uncertainty, their number, and the findings on the paths together."""

    flow: str
    coverage_factor: float
    paths: int
    findings: list[dict[str, Any]]


def mean_text(together: CombinedResult, units: System, zone: tzinfo) -> MeanText:
    """Return the mean for pages."""
    return MeanText(
        flow_with_uncertainty(together.volume_flow_m3_s, together.expanded_uncertainty_m3_s, units),
        together.coverage_factor,
        len(together.parts),
        finding_texts(together.findings, units, zone),
    )


def paths_figure(pdf: PdfDocument, together: CombinedResult, units: System) -> None:
    """Add the mean as the result of the report."""
    pdf.figure(
        gettext("Volume flow, mean of {count} paths").format(count=len(together.parts)),
        f"qV = {_mean(together, units)}",
        gettext(
            "The expanded uncertainty is the standard uncertainty multiplied by k = {coverage_factor}, for a coverage probability of "
            "approximately 95 %. Uncertainties common to the paths are counted once."
        ).format(coverage_factor=f"{together.coverage_factor:.2f}"),
    )


def _mean(together: CombinedResult, units: System) -> str:
    return flow_with_uncertainty(together.volume_flow_m3_s, together.expanded_uncertainty_m3_s, units)


def paths_table(pdf: PdfDocument, result: Result, together: CombinedResult, units: System) -> None:
    """Add the result of each path, their range, and the findings on the paths together."""
    paths = together.results.select_related("survey", "survey_data").order_by(
        "survey__started_at", "survey_id"
    )
    rows = [
        [
            _path_name(one, result),
            _angle(one, units),
            flow_with_uncertainty(one.volume_flow_m3_s, one.expanded_uncertainty_m3_s, units),
        ]
        for one in paths
    ]
    pdf.heading(gettext("Paths"))
    pdf.table([gettext("Path"), gettext("Angle around the pipe"), gettext("Volume flow")], rows, right=1)
    pdf.facts(
        [
            (
                gettext("Mean"),
                gettext("{flow} (k = {coverage_factor}, coverage probability approximately 95 %)").format(
                    flow=_mean(together, units), coverage_factor=f"{together.coverage_factor:.2f}"
                ),
            ),
            (gettext("Range of the paths"), format_quantity(together.range_m3_s, "volume_flow", units)),
        ]
    )
    zone = result.survey.measuring_point.pipe.site.zone
    for finding in finding_texts(together.findings, units, zone):
        pdf.callout(heading(finding), finding["body"], finding["severity"])


def _path_name(one: Result, result: Result) -> str:
    started = moment(one.survey.started_at, result.survey.measuring_point.pipe.site.zone)
    if one.survey_id != result.survey_id:
        return started
    return gettext("{time} (this report)").format(time=started)


def _angle(result: Result, units: System) -> str:
    angle = result.survey_data.path_angle_rad
    return gettext("not recorded") if angle is None else format_quantity(angle, "angle", units, 0)
