"""Where figures come from: one record per publication or custom the physics rests on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, cast, get_args

Provenance = Literal["read", "computed", "memory", "suggestion"]


@dataclass(frozen=True, slots=True)
class Source:
    """A publication or custom, and how the figure was taken from it.

    provenance: `read` in a retrieved document; `computed` with a library named in the text; from
    `memory` of the document named, not re-read; `suggestion`: common practice, no source.
    """

    text: str
    provenance: Provenance = "read"


SNELL = Source("Snell's law: equal axial slowness in every layer (geometric acoustics)", "memory")
HAGEN_POISEUILLE = Source(
    "Hagen-Poiseuille parabolic profile: diametral mean is 4/3 of the area mean", "memory"
)
PRACTICE = Source("common practice, no source", "suggestion")


def provenance_named(name: str) -> Provenance:
    """The provenance of that name, as data files have it."""
    for known in get_args(Provenance):
        if name == known:
            return cast(Provenance, known)
    raise ValueError(f"{name!r} is no provenance")
