"""Sentences that read in metric and in US units: how a quantity is worded in each, and that nothing of a mark is left."""

from __future__ import annotations

import pytest

from compute.base.errors import OutOfRange
from compute.base.figures import bare, millimetres, said, worded
from compute.base.marks import marked, plain


def both(text: str) -> tuple[str, str]:
    return plain(text, "metric"), plain(text, "us")


@pytest.mark.parametrize(
    ("text", "metric", "us"),
    [
        # An inch is 25.4 mm, a foot 0.3048 m, a psi 6.894757 kPa (NIST SP 811, appendix B): by hand.
        (said(0.00711, "mm", ".2f"), "7.11 mm", "0.280 in"),
        (said(0.219075, "mm", ".1f"), "219.1 mm", "8.625 in"),
        (said(3.048, "m", ".2f"), "3.05 m", "10.0 ft"),
        (said(1482.0, "m/s", ".1f"), "1482.0 m/s", "4862 ft/s"),
        (said(0.0254, "mm/s", ".0f"), "25 mm/s", "1.0 in/s"),
        (said(373.15, "degC", ".1f"), "100.0 degC", "212.0 degF"),
        (said(689475.7, "kPa", ".4g"), "689.5 kPa", "100 psi"),
        (said(233.15, "degC", "g"), "-40 degC", "-40 degF"),
        (bare(0.0254, "mm", ".2f"), "25.40", "1.000"),
        (millimetres(0.0995), "99.50 mm", "3.917 in"),
        (millimetres(0.1), "100.0 mm", "3.937 in"),
        (worded(0.00802, "length"), "8.02 mm", "0.3157 in"),
        # Of a difference of temperatures the factor alone, not the shift.
        (worded(10.0, "temperature_difference"), "10 K", "18 degF"),
        (worded(283.15, "temperature"), "10 degC", "50 degF"),
    ],
)
def test_a_quantity_is_written_in_both_units_to_about_the_same_digits(
    text: str, metric: str, us: str
) -> None:
    assert both(text) == (metric, us)


def test_a_text_equal_in_both_units_has_no_mark() -> None:
    assert worded(1.5e-9, "time_difference") == "1.5 ns"
    assert worded(0.012, "number") == "1.2 %"
    assert marked("3 dB", "3 dB") == "3 dB"


def test_a_text_without_marks_is_the_same_in_both_units() -> None:
    stored = "The wall of 6.30 mm was not gauged [see the note | of 2026]."
    assert both(stored) == (stored, stored)


def test_a_truncated_mark_is_left_as_text() -> None:
    cut = said(0.00711, "mm", ".2f")[:-1]
    assert both(cut) == (cut, cut)


def test_an_error_has_a_metric_sentence_and_keeps_the_marks() -> None:
    error = OutOfRange(f"A reading of {said(-0.001, 'mm', 'g')} cannot be.", field="readings")
    assert str(error) == error.detail == "A reading of -1 mm cannot be."
    assert plain(error.said, "us") == "A reading of -0.03937 in cannot be."
