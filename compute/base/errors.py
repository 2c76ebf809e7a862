"""Errors of the physics, with stable codes; each names the field, the value and the limit."""

from __future__ import annotations

from typing import Any

from compute.base.messages import field_name, message, quantity


class ComputeError(ValueError):
    """Impossible input. `code` is stable; `field` is the path of the request it came from, if known.

    `message` is of the catalogue: the entry of the class's code, or of one of its variants. The parameter `quantity` is the field's
    label where no other is given. `str` is for developers.
    """

    code = "invalid"

    def __init__(self, *, field: str = "", variant: str = "", **parameters: Any) -> None:
        self.field = field
        named = {"quantity": field_name(field)} if field else {}
        key = f"{self.code}/{variant}" if variant else self.code
        self.message = message(key, **named | parameters)
        super().__init__(str(self.message))


class OutOfRange(ComputeError):
    """A quantity is outside the range of the formula or the table."""

    code = "out-of-range"


class NumberInvalid(ComputeError):
    """The number of a quantity cannot be read, or is not finite."""

    code = "number-invalid"


class UnitMissing(ComputeError):
    """A physical quantity without a unit."""

    code = "unit-missing"


class UnitUnknown(ComputeError):
    """A unit that the quantity does not accept."""

    code = "unit-unknown"


class UnknownName(ComputeError):
    """An unknown name of a material, medium or pipe size; `suggestions` holds the nearest names."""

    code = "unknown-name"

    def __init__(
        self,
        *,
        field: str = "",
        variant: str = "",
        suggestions: tuple[str, ...] = (),
        **parameters: Any,
    ) -> None:
        super().__init__(field=field, variant=variant, suggestions=list(suggestions) or None, **parameters)
        self.suggestions = suggestions


class NotEnough(ComputeError):
    """A missing input of a formula (a salinity, a shear speed, a reading)."""

    code = "not-enough-data"


class TotalReflection(ComputeError):
    """Total reflection: a layer's sound speed [m/s] is above the beam's axial speed [m/s].

    `critical_angle` [rad] is the largest angle at which a ray passes: in the wedge for a whole beam, in the
    first medium for a single boundary.
    """

    code = "total-reflection"

    def __init__(
        self,
        *,
        critical_angle: float,
        sound_speed: float,
        axial_speed: float,
        field: str = "",
        variant: str = "",
        **parameters: Any,
    ) -> None:
        super().__init__(
            field=field,
            variant=variant,
            critical_angle=quantity(critical_angle, "angle"),
            sound_speed=quantity(sound_speed, "speed"),
            axial_speed=quantity(axial_speed, "speed"),
            **parameters,
        )
        self.critical_angle = critical_angle
        self.sound_speed = sound_speed
        self.axial_speed = axial_speed
