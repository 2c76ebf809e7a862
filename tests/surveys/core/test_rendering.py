"""Messages in words: digits, units, times, and texts that depend on parameters."""

from __future__ import annotations

import json
import pickle
import re
from datetime import UTC, date, datetime
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from django.core.exceptions import ValidationError as ModelError
from django.utils.translation import ngettext_lazy
from rest_framework import serializers

from compute.base.errors import OutOfRange
from compute.base.messages import (
    Message,
    at,
    day,
    field_name,
    finding,
    message,
    quantity,
    record,
    safety_note,
    term,
)
from compute.base.units import KINDS
from compute.measuring.pipe_checks import wall_against_measurement
from surveys.api.fields import in_units, put_in_units
from surveys.core.errors import Conflict
from surveys.core.messages import (
    MessageCode,
    Reader,
    error_text,
    findings_read,
    message_of,
    model_error,
    render,
)
from surveys.core.messages.numbers import (
    entered_text,
    format_of,
    number_text,
    percent_text,
    quantity_text,
    units_text,
)
from surveys.core.messages.texts import choose, first_of, when, written
from surveys.core.messages.values import value_of
from surveys.core.stored_quantities import findings_json
from surveys.inputs.problems import problem_of
from surveys.inputs.rejections import rejection, rejection_of

METRIC, US = Reader(), Reader("us")
LOCAL = Reader(zone=ZoneInfo("Europe/Copenhagen"))


def shown(text: Any, reader: Reader = METRIC, **parameters: Any) -> str:
    stored = message("any", **parameters).parameters
    return written(text, {name: value_of(one, reader) for name, one in stored.items()}).replace("\xa0", " ")


@pytest.mark.parametrize(
    ("si", "kind", "spec", "metric", "us"),
    [
        (0.0063, "length", "", "6.30 mm", "0.248 in"),
        (0.2191, "length", "", "219.1 mm", "8.626 in"),
        (3.0, "length", "m", "3.00 m", "9.8 ft"),
        (3.0, "length", "m.1", "3.0 m", "10 ft"),
        (0.2191, "length", "mm.2", "219.10 mm", "8.626 in"),
        (0.219075, "length", "g", "219.1 mm", "8.625 in"),
        (-0.0016, "length", "abs", "1.60 mm", "0.063 in"),
        (-0.0016, "length", "+", "−1.60 mm", "−0.063 in"),
        (0.0016, "length", "+mm.1", "+1.6 mm", "+0.063 in"),
        (4.5e-5, "roughness", "", "0.045 mm", "0.00177 in"),
        (0.9195, "angle", "", "52.7°", "52.7°"),
        (np.pi / 2, "angle", "g", "90°", "90°"),
        (1550.61, "speed", "", "1550.6 m/s", "5087 ft/s"),
        (0.5, "speed", "", "0.5 m/s", "1.64 ft/s"),
        (137.6 / 3600, "volume_flow", "", "137.6 m³/h", "605.8 US gal/min"),
        (331.15, "temperature", "", "58.0 °C", "136.4 °F"),
        (331.15, "temperature", ".0", "58 °C", "136 °F"),
        (253.15, "temperature", "", "−20.0 °C", "−4.0 °F"),
        (2.0, "temperature_difference", "", "2.0 K", "3.6 °F"),
        (0.00015912, "transit_time", "", "159.12 µs", "159.12 µs"),
        (1.7e-7, "time_difference", "", "170 ns", "170 ns"),
        (3.0, "duration", "", "3 s", "3 s"),
        (5400.0, "duration", "", "90 min", "90 min"),
        (259_200.0, "duration", "", "3 d", "3 d"),
        (5e5, "pressure", "bar.1", "5.0 bar", "73 psi"),
        (1e6, "frequency", "", "1 MHz", "1 MHz"),
        (20.0, "ratio_db", "", "20.0 dB", "20.0 dB"),
        (1e-3, "dynamic_viscosity", "", "1 mPa·s", "1 cP"),
    ],
)
def test_a_quantity_is_written_in_the_units_of_the_reader(
    si: float, kind: str, spec: str, metric: str, us: str
) -> None:
    assert quantity_text(si, kind, "metric", spec).replace("\xa0", " ") == metric
    assert quantity_text(si, kind, "us", spec).replace("\xa0", " ") == us


def test_between_a_number_and_its_unit_is_a_no_break_space_and_none_before_the_sign_of_an_angle() -> None:
    assert quantity_text(0.0063, "length", "metric") == "6.30\N{NO-BREAK SPACE}mm"
    assert percent_text(0.016) == "1.6\N{NO-BREAK SPACE}%"
    assert shown_raw("About 2 % of 8 in and 2 persons.") == "About 2\xa0% of 8\xa0in and 2 persons."


def shown_raw(text: str) -> str:
    return written(text, {})


@pytest.mark.parametrize(
    ("value", "form", "text"),
    [
        (3100, ".4g", "3100"),
        (486_123, ".3g", "486\xa0000"),
        (12_345.678, ".2f", "12\xa0345.68"),
        (-2.4, ".1f", "−2.4"),
        (-0.04, ".1f", "0.0"),
        (2e-5, ".4g", "0.00002"),
        (3.2e-7, ".4g", "3.2\xa0×\xa010⁻⁷"),
        (4e12, ".4g", "4\xa0×\xa010¹²"),
        (float("nan"), ".4g", "–"),
    ],
)
def test_a_number_has_a_true_minus_groups_and_no_computers_exponent(
    value: float, form: str, text: str
) -> None:
    assert number_text(value, form) == text


@pytest.mark.parametrize(
    ("spec", "text"), [("%", "1.3 %"), ("+%", "+1.3 %"), ("%.2", "1.27 %"), ("", "0.0127"), (".1", "0.0")]
)
def test_a_ratio_is_written_in_per_cent_by_its_format(spec: str, text: str) -> None:
    assert shown(f"{{r:{spec}}}", r=0.0127) == text


def test_a_ratio_too_small_for_the_digits_is_not_written_as_zero() -> None:
    assert shown("{r:%} {s:abs%} {t:%}", r=0.0001, s=-0.0001, t=0.0) == "< 0.1 % < 0.1 % 0.0 %"


def test_an_unknown_format_is_an_error() -> None:
    for spec in ("%d", "mm.x", ".1.2"):
        with pytest.raises(ValueError, match="format"):
            format_of(spec)


def test_each_kind_of_parameter_is_written_in_words() -> None:
    text = "{a}; {d}; {t:cap}; {f:cap}; {r}; {l}; {l:or}; {n}; {x:d}; {m}"
    given = {
        "a": at(datetime(2026, 10, 6, 7, 30, 5, tzinfo=UTC)),
        "d": day(date(2026, 10, 6)),
        "t": term("too-high"),
        "f": field_name("pipe.wall_thickness"),
        "r": record("instrument", 7, "meter, M-0412"),
        "l": [quantity(0.001, "length"), quantity(0.002, "length"), None],
        "n": 12_000,
        "x": 12_000,
        "m": None,
    }
    assert shown(text, **given) == (
        "2026-10-06 07:30 UTC; 2026-10-06; Too high; Wall thickness; meter, M-0412; 1.00 mm, 2.00 mm, –; "
        "1.00 mm, 2.00 mm or –; 12 000; 12000; –"
    )


def test_a_moment_is_written_by_the_clock_of_the_reader() -> None:
    moment = at(datetime(2026, 10, 6, 7, 30, 5, tzinfo=UTC).timestamp())
    for spec, text in (
        ("", "2026-10-06 09:30 CEST"),
        (":seconds", "2026-10-06 09:30:05 CEST"),
        (":time", "09:30 CEST"),
        (":clock", "09:30:05"),
        (":date", "2026-10-06"),
    ):
        assert shown(f"{{t{spec}}}", LOCAL, t=moment) == text


def test_texts_are_chosen_by_the_given_parameters() -> None:
    text = (
        first_of(when("a", "b", "{a} and {b}."), when("a", "Only {a}."), "Neither."),
        choose("way", too_low="Low.", true="Yes.", otherwise="Other."),
        when("c", "C {c}."),
    )
    assert shown(text, a=1, b=2, way=term("too-low"), c=3) == "1 and 2. Low. C 3."
    assert shown(text, a=1, b=None, way=True) == "Only 1. Yes."
    assert shown(text) == "Neither. Other."


def test_a_plural_form_is_chosen_by_a_count() -> None:
    text = ngettext_lazy("{count} gap", "{count} gaps", "count")
    assert [shown(text, count=count) for count in (1, 2)] == ["1 gap", "2 gaps"]


def test_parameters_are_json_and_a_number_that_is_not_finite_is_not_given() -> None:
    created = message(
        "a/b",
        q=quantity(np.float64(1), "length"),
        n=np.int64(3),
        t=("x", 1.5),
        m=message("c", z=1),
        i=float("inf"),
    )
    assert json.loads(json.dumps(created.stored())) == {
        "code": "a",
        "variant": "b",
        "parameters": {
            "q": {"si": 1.0, "kind": "length"},
            "n": 3,
            "t": ["x", 1.5],
            "m": {"code": "c", "parameters": {"z": 1}},
            "i": None,
        },
    }
    assert quantity(float("nan"), "length") is None
    with pytest.raises(TypeError, match="parameter d"):
        message("a", d=date(2026, 1, 1))


def test_a_message_within_a_message_is_rendered_with_it() -> None:
    inner = message("wall-not-measured", wall=quantity(0.0063, "length"))
    assert value(inner).startswith("Wall thickness not measured. 0.248\xa0in is")


def value(inner: Message) -> str:
    from surveys.core.messages.rendering import _value

    return str(_value(inner.stored(), US))


def test_a_stored_finding_is_answered_with_its_words_and_parameters_in_the_readers_units() -> None:
    stored = findings_json(
        [finding("wall-not-measured", "info", "pipe.wall_thickness", wall=quantity(0.0063, "length"))]
    )
    assert "detail" not in stored[0]
    for show in (in_units, lambda document, units: put_in_units(json.loads(json.dumps(document)), units)):
        [answered] = show(stored, "us")
        assert answered["title"] == "Wall thickness not measured"
        assert answered["detail"].startswith("0.248\xa0in is an assumed value. On an 8\xa0in pipe,")
        assert answered["parameters"] == {"wall": {"value": pytest.approx(0.248, abs=1e-3), "unit": "in"}}
        assert set(answered) == {
            "code",
            "severity",
            "field",
            "title",
            "detail",
            "remedy",
            "parameters",
            "source",
        }


def test_a_rule_of_thumb_is_round_in_either_units() -> None:
    [found] = wall_against_measurement(0.0063, None)
    assert found.message
    assert "On a 200\xa0mm pipe, an error of 1\xa0mm" in render(found.message, METRIC).detail
    assert "On an 8\xa0in pipe, an error of 0.04\xa0in" in render(found.message, US).detail


def test_pages_read_stored_findings() -> None:
    stored = findings_json([finding("wall-not-measured", "info", wall=quantity(0.0063, "length"))])
    [read] = findings_read(stored, US)
    assert read["text"] == f"{read['title']}. {read['detail']} {read['remedy']}"


def test_a_code_without_an_entry_is_read_by_its_words() -> None:
    assert render({"code": "gone-since", "parameters": {}}).text == "Gone since."


def test_a_range_is_worded_with_the_limits_it_has() -> None:
    error = OutOfRange(
        field="transducers.wedge_angle",
        value=quantity(np.radians(95), "angle"),
        above=quantity(0, "angle"),
        below=quantity(np.pi / 2, "angle"),
    )
    assert error_text(error) == "Wedge angle 95° is out of range. Enter a value above 0° and below 90°."
    assert str(error).startswith("out-of-range: quantity=transducers.wedge_angle, value=1.65806 (angle)")
    assert error_text(OutOfRange(field="traverses", at_least=1)) == (
        "Number of traverses is out of range. Enter a value of at least 1."
    )


def test_a_message_passes_through_the_errors_of_the_frameworks_and_is_read_in_the_readers_units() -> None:
    wrong = OutOfRange(
        field="pipe.wall_thickness", value=quantity(0.12, "length"), below=quantity(0.1, "length")
    )

    class Sheet(serializers.Serializer):
        wall = serializers.FloatField()
        note = serializers.CharField()

        def validate_wall(self, value: float) -> float:
            raise rejection_of(wrong)

        def validate_note(self, value: str) -> str:
            raise model_error("no-pipe-data/correction")

    sheet = Sheet(data={"wall": 1, "note": "x"})
    with pytest.raises(serializers.ValidationError) as caught:
        sheet.is_valid(raise_exception=True)
    found = problem_of(caught.value, "us")
    assert found
    assert found["errors"] == [
        {
            "field": "wall",
            "code": "out-of-range",
            "detail": "Wall thickness 4.724\xa0in is out of range. Enter a value below 3.937\xa0in.",
        },
        {
            "field": "note",
            "code": "no-pipe-data",
            "detail": "This pipe has no data to correct. Enter the pipe data.",
        },
    ]
    assert found["type"] == "/help/codes/out-of-range/"


@pytest.mark.parametrize(
    "error",
    [
        Conflict("no-pipe-data/correction", field="pipe"),
        rejection("no-pipe-data/correction"),
        model_error("no-pipe-data/correction"),
    ],
)
def test_rejections_of_every_layer_are_worded_by_the_catalogue(error: Exception) -> None:
    found = problem_of(error, "metric")
    assert found
    assert (found["code"], found["detail"]) == (
        "no-pipe-data",
        "This pipe has no data to correct. Enter the pipe data.",
    )


def test_a_code_that_carries_its_message_is_its_code_and_can_be_pickled() -> None:
    code = MessageCode(message("a/b", n=1))
    again = pickle.loads(pickle.dumps(code))  # noqa: S301
    assert (again, again.message) == ("a", code.message)
    assert message_of(ModelError("x", code=code)) is code.message


def test_a_safety_note_carries_a_message_too() -> None:
    note = safety_note("general", n=1)
    assert note.message == Message("general", {"n": 1})


@pytest.mark.parametrize(
    ("entered", "shown"),
    [
        ("58 degC", "58\xa0°C"),
        ("-5degF", "-5\xa0°F"),
        ("0.25 in/us", "0.25\xa0in/µs"),
        ("30 deg", "30°"),
        ("8 5/8 in", "8 5/8 in"),
        ("see 3 degC", "see 3 degC"),
    ],
)
def test_an_entered_quantity_is_shown_with_the_sign_of_its_unit(entered: str, shown: str) -> None:
    assert entered_text(entered) == shown


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_accepted_unit_is_shown_without_its_typed_spelling(kind: str) -> None:
    assert not re.search(r"deg|\bus\b|\bum\b|\w3\b|Pa\.s", units_text(kind))
