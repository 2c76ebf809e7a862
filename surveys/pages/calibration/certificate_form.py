"""The form of a certificate: entered texts as request data of the API and as fields with their errors."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from compute.base.units import System, express
from surveys.calibration.conformity import QUANTITY, error_kind, limits_json, points_json, points_of
from surveys.core.messages.numbers import units_text
from surveys.inputs.calibrations import MAX_POINTS
from surveys.models import Calibration, Instrument
from surveys.models.calibration import CombineBy, DecisionRuleName, LimitsFrom, Moment

MOMENTS = {"as_found": gettext_lazy("As found"), "as_left": gettext_lazy("As left")}
MORE_POINTS = {
    "as_found": gettext_lazy("Add as-found point"),
    "as_left": gettext_lazy("Add as-left point"),
}
ROWS = {"as_found": 3, "as_left": 1}
NUMBERS = {"coverage_factor", "maximum_permissible_error.relative", "decision_rule.guard_factor"}
PLAIN_NUMBER = gettext_lazy("Enter a number without a unit, e.g. 2 or 0.5.")


@dataclass
class Entry:
    """A field of the form: the entered text and its error."""

    name: str
    label: str | Promise
    value: str = ""
    type: str = "text"
    hint: str | Promise = ""
    options: tuple[tuple[str, str | Promise], ...] = ()
    error: str = ""

    @property
    def key(self) -> str:
        """Id of the field in the page."""
        return self.name.replace(".", "-")


class Sheet:
    """The entered texts; empty rows of points are removed."""

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
        """Add a row for points as found or as left."""
        if moment in MOMENTS:
            self._shown[moment] = min(self._shown[moment] + 1, MAX_POINTS)

    def rejected(self, errors: Iterable[Mapping[str, str]]) -> None:
        """Store the errors of a rejected request by field."""
        for one in errors:
            detail = (
                str(PLAIN_NUMBER)
                if one["code"] == "number-invalid" and self._plain(one["field"])
                else one["detail"]
            )
            self._errors.setdefault(one["field"], detail)

    def stated(self) -> dict[str, Any]:
        """Return the request data of the API, without empty fields."""
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
        """Fields of the certificate."""
        return [self._entry(name, **more) for name, more in self._top.items()]

    @property
    def limits(self) -> list[Entry]:
        """Fields of the limits and the decision rule."""
        units = units_text(error_kind(self.instrument.kind))
        hint = _("Enter the value with its unit: %(units)s.") % {"units": units}
        return [
            self._entry(name, **(more | {"hint": hint} if name.endswith("absolute") else more))
            for name, more in _LIMITS.items()
        ]

    @property
    def moments(self) -> list[dict[str, Any]]:
        """Rows of points as found and as left."""
        return [
            {
                "name": moment,
                "label": label,
                "more": MORE_POINTS[moment],
                "count": self._shown[moment],
                "error": self._errors.get(moment, ""),
                "rows": [self._row(moment, number) for number in range(self._shown[moment])],
            }
            for moment, label in MOMENTS.items()
        ]

    @property
    def units(self) -> str:
        """Units accepted for points."""
        return units_text(QUANTITY[self.instrument.kind])

    @property
    def wrong(self) -> int:
        """Number of fields with an error."""
        return len(self._errors)

    @property
    def file_error(self) -> str:
        """Error of the file."""
        return self._errors.get("file", "")

    @property
    def elsewhere(self) -> list[str]:
        """Errors that belong to no field of the form."""
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
            # k is filled in from the start: a row with nothing else is empty.
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
        # An error of the limits as a whole is shown at their first field.
        first = {
            "maximum_permissible_error.absolute": "maximum_permissible_error",
            "decision_rule.rule": "decision_rule",
        }
        error = self._errors.get(name) or self._errors.get(first.get(name, ""), "")
        return Entry(name, value=self._typed.get(name, ""), error=error, **more)

    def _plain(self, field: str) -> bool:
        return field in NUMBERS or field.endswith(".coverage_factor")


def recorded_values(calibration: Calibration, units: System) -> dict[str, str]:
    """Return the initial texts of a correction: the certificate as it was entered."""
    typed = {name: getattr(calibration, name) for name in _COPIED} | {
        "calibrated_on": calibration.calibrated_on.isoformat(),
        # A due date set by a policy is calculated again.
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
    """Return the limits stated on the certificate; those of a policy are copied again."""
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
    """Return the entered text, else the value in the units of the reader."""
    shown = express(quantity["si"], quantity["kind"], units)
    return as_entered.get(name) or f"{shown['value']:.12g} {shown['unit']}"


def _number(name: str, value: str) -> Any:
    """Return an entered number as a number; other text unchanged, so that the API rejects it at its field."""
    if name not in NUMBERS:
        return value
    try:
        return float(value)
    except ValueError:
        return value


_TOP: dict[str, dict[str, Any]] = {
    "certificate": {"label": gettext_lazy("Certificate number")},
    "laboratory": {"label": gettext_lazy("Laboratory")},
    "accreditation": {"label": gettext_lazy("Accreditation (optional)")},
    "serial": {
        "label": gettext_lazy("Serial number on the certificate"),
        "hint": gettext_lazy("Must match the serial number of the instrument."),
    },
    "calibrated_on": {"label": gettext_lazy("Calibrated on"), "type": "date"},
    "due_on": {
        "label": gettext_lazy("Due on"),
        "type": "date",
        "hint": gettext_lazy("Default: set by the interval policy."),
    },
    "conditions": {"label": gettext_lazy("Calibration conditions (optional)")},
    "conditions_temperature": {"label": gettext_lazy("Calibration temperature (optional)")},
    "note": {"label": gettext_lazy("Note")},
}
_OF_CORRECTION: dict[str, dict[str, Any]] = {
    "reason": {
        "label": gettext_lazy("Reason for the correction"),
        "hint": gettext_lazy("The client sees this reason if a result changes."),
    }
}
_COPIED = ("certificate", "laboratory", "accreditation", "conditions", "note")
_LIMITS: dict[str, dict[str, Any]] = {
    "maximum_permissible_error.absolute": {"label": gettext_lazy("Maximum permissible error")},
    "maximum_permissible_error.relative": {
        "label": gettext_lazy("Maximum permissible error, relative"),
        "hint": gettext_lazy("Ratio, e.g. 0.01 for 1 %."),
    },
    "maximum_permissible_error.combine_by": {
        "label": gettext_lazy("Limit if both errors are entered"),
        "options": (("", gettext_lazy("only one is entered")), *CombineBy.choices),
    },
    "decision_rule.rule": {
        "label": gettext_lazy("Decision rule"),
        "options": (("", gettext_lazy("not entered")), *DecisionRuleName.choices),
    },
    "decision_rule.guard_factor": {
        "label": gettext_lazy("Guard factor"),
        "hint": gettext_lazy("Default: 1."),
    },
}
_POINT: dict[str, str | Promise] = {
    "reference": gettext_lazy("Reference"),
    "indicated": gettext_lazy("Indicated"),
    "expanded_uncertainty": gettext_lazy("Expanded uncertainty"),
    "coverage_factor": "k",
}
