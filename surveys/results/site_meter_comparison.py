"""Comparison of a survey result with the site meter."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q
from django.utils.translation import gettext

from compute.calibration.intermediate_checks import Measured
from compute.calibration.meter_comparison import en_number
from surveys.core.messages.numbers import number_text
from surveys.models import CombinedResult, Result, SiteMeterReading, Survey


@dataclass(frozen=True, slots=True)
class SiteMeterComparison:
    """Comparison of both flows [m3/s]: the difference is the survey less the site meter.

    `en` [1] by ISO 13528 (see `compute.calibration.meter_comparison`); None where the
    uncertainty of the site meter is unknown. Both uncertainties are independent: the meters share no error source.
    """

    reading: SiteMeterReading
    difference_m3_s: float
    relative: float | None
    en: float | None

    @property
    def agrees(self) -> bool | None:
        """Whether both agree within their uncertainties; None if unknown."""
        return None if self.en is None else abs(self.en) <= 1


def site_meter_reading_at(survey: Survey, at: datetime | None = None) -> SiteMeterReading | None:
    """Return the site meter reading of a survey recorded at a time; the current one if no time is given."""
    in_force = Q(replaced_at__isnull=True)
    if at is not None:
        in_force = (in_force | Q(replaced_at__gt=at)) & Q(recorded_at__lte=at)
    return SiteMeterReading.objects.filter(in_force, survey=survey).first()


def compare_with_site_meter(
    reading: SiteMeterReading, result: Result | CombinedResult
) -> SiteMeterComparison:
    """Compare the result of a survey, or the mean of its paths, with a site meter reading."""
    difference = result.volume_flow_m3_s - reading.volume_flow_m3_s
    base, expanded = abs(reading.volume_flow_m3_s), reading.expanded_uncertainty_m3_s
    en = None
    if expanded is not None:
        ours = Measured(result.volume_flow_m3_s, result.expanded_uncertainty_m3_s / result.coverage_factor)
        en = en_number(ours, Measured(reading.volume_flow_m3_s, expanded / 2))
    return SiteMeterComparison(reading, difference, difference / base if base else None, en)


def verdict(comparison: SiteMeterComparison) -> str:
    """Return the conclusion of the comparison in words."""
    texts = [_agreement(comparison.en)]
    if comparison.reading.reading_type == "spot":
        texts.append(gettext("The site meter was read once, not averaged over the survey."))
    return " ".join(texts)


def _agreement(en: float | None) -> str:
    if en is None:
        return gettext("No uncertainty is known for the site meter, so agreement cannot be assessed.")
    text = (
        gettext(
            "En = {en} (|En| ≤ 1): the survey and the site meter agree within their uncertainties. Agreement does not prove that "
            "both are correct."
        )
        if abs(en) <= 1
        else gettext(
            "En = {en} (|En| > 1): the survey and the site meter do not agree within their uncertainties. At least one result or "
            "uncertainty is wrong; this comparison cannot show which."
        )
    )
    return text.format(en=number_text(en, ".2f"))
