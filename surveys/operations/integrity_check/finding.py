"""The findings of the integrity check."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Corruption:
    """A corrupt record: a stable code, the record, and a sentence that says what is wrong."""

    code: str
    record: str
    detail: str

    def __str__(self) -> str:
        return f"{self.code}  {self.record}  {self.detail}"
