"""The columns a log may have, by the names and kinds of quantity its header line gives."""

from __future__ import annotations

from dataclasses import dataclass

TIME = "time"
KIND_BY_COLUMN = {
    "transit_time": "transit_time",
    "time_difference": "time_difference",
    "flow_velocity": "speed",
    "volume_flow": "volume_flow",
    "sound_speed": "speed",
    "signal_to_noise": "ratio_db",
    "medium_temperature": "temperature",
}
# A log serves if it has all columns of one of these.
SUFFICIENT = (
    frozenset({"transit_time", "time_difference"}),
    frozenset({"flow_velocity"}),
    frozenset({"volume_flow"}),
)


@dataclass(frozen=True, slots=True)
class Column:
    """A column of numbers: its name, and the unit its header gives."""

    name: str
    unit: str

    @property
    def kind(self) -> str:
        """Kind of quantity, as the unit gate knows it."""
        return KIND_BY_COLUMN[self.name]

    def as_json(self) -> dict[str, str]:
        """What is stored with the log."""
        return {"name": self.name, "unit": self.unit}
