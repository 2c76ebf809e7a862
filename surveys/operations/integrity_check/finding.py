"""What the check of data finds."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Corruption:
    """A record that is not as it should be: a stable code, which record, and in a sentence what is wrong."""

    code: str
    record: str
    detail: str

    def __str__(self) -> str:
        return f"{self.code}  {self.record}  {self.detail}"
