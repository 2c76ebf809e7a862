"""Errors the physics raises: each names the field, the value and the limit, and has a stable code."""

from __future__ import annotations

from compute.marks import Told


class ComputeError(Told, ValueError):
    """Impossible input. `code` is stable; `field` is the path of the request it came from, if known.

    `said` is what is wrong, its quantities marked (`compute.marks`); `detail` is that in metric units.
    """

    code = "invalid"

    def __init__(self, said: str, *, field: str = "") -> None:
        self.said = said
        self.field = field
        super().__init__(self.detail)


class OutOfRange(ComputeError):
    """A quantity lies outside what the formula or the table can answer for."""

    code = "out-of-range"


class NumberInvalid(ComputeError):
    """The number of a quantity cannot be read, or is not finite."""

    code = "number-invalid"


class UnitMissing(ComputeError):
    """A physical quantity came as a bare number."""

    code = "unit-missing"


class UnitUnknown(ComputeError):
    """The unit is not one of those this quantity can be given in."""

    code = "unit-unknown"


class UnknownName(ComputeError):
    """No material, medium or pipe size of that name; `suggestions` holds the nearest names."""

    code = "unknown-name"

    def __init__(self, said: str, *, field: str = "", suggestions: tuple[str, ...] = ()) -> None:
        super().__init__(said, field=field)
        self.suggestions = suggestions


class NotEnough(ComputeError):
    """Something a formula needs was not given (a salinity, a shear speed, a reading)."""

    code = "not-enough-data"


class TotalReflection(ComputeError):
    """No ray passes: a layer's sound speed [m/s] is above the beam's axial speed [m/s].

    `critical_angle` [rad] is the largest at which one passes: that of the wedge for a whole beam, that in the
    medium left for a single boundary.
    """

    code = "total-reflection"

    def __init__(
        self, said: str, *, critical_angle: float, sound_speed: float, axial_speed: float, field: str = ""
    ) -> None:
        super().__init__(said, field=field)
        self.critical_angle = critical_angle
        self.sound_speed = sound_speed
        self.axial_speed = axial_speed
