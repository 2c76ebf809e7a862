"""The form of a certificate: what was typed, as the API takes it and as the page shows it again with what is wrong."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from compute.base.units import KINDS, System, express
from surveys.api.fleet.acceptance import MAX_POINTS
from surveys.calibration.conformity import QUANTITY, error_kind, limits_json, points_json, points_of
from surveys.models import Calibration, Instrument
from surveys.models.calibration import CombineBy, DecisionRuleName, LimitsFrom, Moment

MOMENTS = {moment.value.replace("-", "_"): moment.label.capitalize() for moment in Moment}
ROWS = {"as_found": 3, "as_left": 1}
NUMBERS = {"coverage_factor", "maximum_permissible_error.relative", "decision_rule.guard_factor"}
PLAIN_NUMBER = "Write a plain number, such as 2 or 0.5."


@dataclass
class Entry:
    """A field of the form: what was typed, and what is wrong with it."""

    name: str
    label: str
    value: str = ""
    type: str = "text"
    hint: str = ""
    options: tuple[tuple[str, str], ...] = ()
    error: str = ""

    @property
    def key(self) -> str:
        """Its id in the page."""
        return self.name.replace(".", "-")


class Sheet:
    """What was typed so far; points move up over rows left empty."""

    def __init__(
        self, instrument: Instrument, typed: Mapping[str, str], corrects: Calibration | None = None
    ) -> None:
        self.instrument, self.corrects = instrument, corrects
        self._typed = {name: str(value).strip() for name, value in typed.items()}
        self._points = {moment: self._rows(moment) for moment in MOMENTS}
        self._shown = {moment: max(ROWS[moment], len(rows)) for moment, rows in self._points.items()}
        self._errors: dict[str, str] = {}
        for moment in MOMENTS:
            requested = self._typed.get(f"{moment}.rows", "")
            if requested.isascii() and requested.isdigit():
                self._shown[moment] = max(self._shown[moment], min(int(requested[:4]), MAX_POINTS))

    def add_row(self, moment: str) -> None:
        """One more row for points of a moment."""
        if moment in MOMENTS:
            self._shown[moment] = min(self._shown[moment] + 1, MAX_POINTS)

    def rejected(self, errors: Iterable[Mapping[str, str]]) -> None:
        """Keep what was refused, to be shown at its fields."""
        for one in errors:
            detail = (
                PLAIN_NUMBER
                if one["code"] == "number-invalid" and self._plain(one["field"])
                else one["detail"]
            )
            self._errors.setdefault(one["field"], detail)

    def stated(self) -> dict[str, Any]:
        """As the API takes it; what is empty is left out."""
        top = {name: value for name, value in self._typed.items() if name in self._top and value}
        points = {
            moment: [{name: _number(name, value) for name, value in row.items() if value} for row in rows]
            for moment, rows in self._points.items()
            if rows
        }
        nested: dict[str, dict[str, Any]] = {}
        for name in _LIMITS:
            if value := self._typed.get(name):
                outer, inner = name.split(".")
                nested.setdefault(outer, {})[inner] = _number(name, value)
        corrects = {"corrects": str(self.corrects.pk)} if self.corrects else {}
        return {"instrument": str(self.instrument.pk), **corrects, **top, **points, **nested}

    @property
    def about(self) -> list[Entry]:
        """Fields of the certificate itself."""
        return [self._entry(name, **more) for name, more in self._top.items()]

    @property
    def limits(self) -> list[Entry]:
        """Fields of what it is judged by."""
        hint = f"With its unit: {KINDS[error_kind(self.instrument.kind)].accepted}."
        return [
            self._entry(name, **(more | {"hint": hint} if name.endswith("absolute") else more))
            for name, more in _LIMITS.items()
        ]

    @property
    def moments(self) -> list[dict[str, Any]]:
        """Points as found and as left, row by row."""
        return [
            {
                "name": moment,
                "label": label,
                "count": self._shown[moment],
                "error": self._errors.get(moment, ""),
                "rows": [self._row(moment, number) for number in range(self._shown[moment])],
            }
            for moment, label in MOMENTS.items()
        ]

    @property
    def units(self) -> str:
        """The units points may be given in."""
        return KINDS[QUANTITY[self.instrument.kind]].accepted

    @property
    def wrong(self) -> int:
        """How many fields are wrong."""
        return len(self._errors)

    @property
    def file_error(self) -> str:
        """What is wrong with the file."""
        return self._errors.get("file", "")

    @property
    def elsewhere(self) -> list[str]:
        """What is wrong with no field of the form."""
        shown = {entry.name for entry in (*self.about, *self.limits)} | {"file", *MOMENTS}
        shown |= {entry.name for moment in self.moments for row in moment["rows"] for entry in row}
        return [detail for field, detail in self._errors.items() if field not in shown]

    @property
    def _top(self) -> dict[str, dict[str, Any]]:
        return _TOP | _OF_CORRECTION if self.corrects else _TOP

    def _rows(self, moment: str) -> list[dict[str, str]]:
        rows = []
        for number in range(MAX_POINTS):
            row = {name: self._typed.get(f"{moment}.{number}.{name}", "") for name in _POINT}
            # k stands there from the start: a row with nothing else is empty.
            if any(value for name, value in row.items() if name != "coverage_factor"):
                rows.append(row)
        return rows

    def _row(self, moment: str, number: int) -> list[Entry]:
        points = self._points[moment]
        row = points[number] if number < len(points) else {"coverage_factor": "2"}
        return [
            Entry(
                name := f"{moment}.{number}.{field}",
                label,
                row.get(field, ""),
                error=self._errors.get(name, ""),
            )
            for field, label in _POINT.items()
        ]

    def _entry(self, name: str, **more: Any) -> Entry:
        # What is wrong with all of the limits is told at their first field.
        first = {
            "maximum_permissible_error.absolute": "maximum_permissible_error",
            "decision_rule.rule": "decision_rule",
        }
        error = self._errors.get(name) or self._errors.get(first.get(name, ""), "")
        return Entry(name, value=self._typed.get(name, ""), error=error, **more)

    def _plain(self, field: str) -> bool:
        return field in NUMBERS or field.endswith(".coverage_factor")


def recorded_values(calibration: Calibration, units: System) -> dict[str, str]:
    """What the form of a correction begins with: the certificate as it was entered."""
    typed = {name: getattr(calibration, name) for name in _COPIED} | {
        "calibrated_on": calibration.calibrated_on.isoformat(),
        # What a policy set is set anew.
        "due_on": "" if calibration.interval_policy_id else calibration.due_on.isoformat(),
    }
    if calibration.conditions_temperature_k is not None:
        known = {"si": calibration.conditions_temperature_k, "kind": "temperature"}
        typed["conditions_temperature"] = _text(
            known, calibration.as_entered, "conditions_temperature", units
        )
    for moment in Moment:
        rows = points_of(calibration, moment)
        for number, (row, shown) in enumerate(zip(rows, points_json(calibration, moment), strict=True)):
            path = f"{moment.value.replace('-', '_')}.{number}"
            for name in ("reference", "indicated", "expanded_uncertainty"):
                typed[f"{path}.{name}"] = _text(shown[name], row.as_entered, name, units)
            typed[f"{path}.coverage_factor"] = f"{row.coverage_factor:.12g}"
    return typed | _limits_recorded(calibration, units)


def _limits_recorded(calibration: Calibration, units: System) -> dict[str, str]:
    """Limits the certificate itself states; those of a policy are copied from it anew."""
    limits = limits_json(calibration)
    if limits is None or calibration.limits_from != LimitsFrom.CERTIFICATE:
        return {}
    error, rule = limits["maximum_permissible_error"], limits["decision_rule"]
    absolute = error["absolute"]
    return {
        "maximum_permissible_error.absolute": _text(
            absolute, calibration.as_entered, "maximum_permissible_error.absolute", units
        )
        if absolute
        else "",
        "maximum_permissible_error.relative": ""
        if error["relative"] is None
        else f"{error['relative']:.12g}",
        "maximum_permissible_error.combine_by": error["combine_by"] or "",
        "decision_rule.rule": rule["rule"],
        "decision_rule.guard_factor": f"{rule['guard_factor']:.12g}",
    }


def _text(quantity: dict[str, Any], as_entered: Mapping[str, str], name: str, units: System) -> str:
    """As it was typed, else the figure in the reader's units."""
    shown = express(quantity["si"], quantity["kind"], units)
    return as_entered.get(name) or f"{shown['value']:.12g} {shown['unit']}"


def _number(name: str, value: str) -> Any:
    """What was typed as the number it is; text that is none stays, to be refused at its field."""
    if name not in NUMBERS:
        return value
    try:
        return float(value)
    except ValueError:
        return value


_TOP: dict[str, dict[str, Any]] = {
    "certificate": {"label": "Number of the certificate"},
    "laboratory": {"label": "Laboratory"},
    "accreditation": {"label": "Its accreditation, if stated"},
    "serial": {"label": "Serial number on the certificate", "hint": "Compared with the instrument's."},
    "calibrated_on": {"label": "Calibrated on", "type": "date"},
    "due_on": {"label": "Due on", "type": "date", "hint": "Left empty, the interval policy sets it."},
    "conditions": {"label": "Conditions, if stated"},
    "conditions_temperature": {"label": "Temperature it was calibrated at, if stated"},
    "note": {"label": "Note"},
}
_OF_CORRECTION: dict[str, dict[str, Any]] = {
    "reason": {"label": "Reason of the correction", "hint": "The client reads it where a figure moves."}
}
_COPIED = ("certificate", "laboratory", "accreditation", "conditions", "note")
_LIMITS: dict[str, dict[str, Any]] = {
    "maximum_permissible_error.absolute": {"label": "Permissible error"},
    "maximum_permissible_error.relative": {
        "label": "Permissible error, relative",
        "hint": "A ratio: 0.01 is one per cent.",
    },
    "maximum_permissible_error.combine_by": {
        "label": "If both are stated, what holds",
        "options": (("", "only one is stated"), *CombineBy.choices),
    },
    "decision_rule.rule": {
        "label": "Decision rule",
        "options": (("", "not stated"), *DecisionRuleName.choices),
    },
    "decision_rule.guard_factor": {"label": "Guard factor", "hint": "1 if left empty."},
}
_POINT = {
    "reference": "Reference",
    "indicated": "Indicated",
    "expanded_uncertainty": "Expanded uncertainty",
    "coverage_factor": "k",
}
