"""Sources of values: the publication or practice that a value comes from, and how it was verified."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, cast, get_args

Provenance = Literal["published", "derived", "unverified", "default"]


@dataclass(frozen=True, slots=True)
class Source:
    """A publication or practice, cited as readers see it, and the provenance of the value taken from it.

    provenance : `published`: in the publication, and confirmed there or in a reproduction of its table; `derived`: calculated
        from the publication with a formula or a reference library; `unverified`: the publication was not available;
        `default`: common practice without a publication.

    `text` cites author or standard, edition, table or clause. How a value was checked is in the column `verification` of the
    data file or in a comment beside the constant, never in the text.
    """

    text: str
    provenance: Provenance = "published"


SNELL = Source(
    "Kinsler et al. 2000, Fundamentals of Acoustics, 4th ed., section 6.2: Snell's law, equal axial slowness in every layer",
    "unverified",
)
HAGEN_POISEUILLE = Source(
    "Hagen-Poiseuille parabolic profile: diametral mean is 4/3 of the area mean", "unverified"
)
PRACTICE = Source("common practice", "default")


def provenance_named(name: str) -> Provenance:
    """Return the provenance with this name in a data file."""
    for known in get_args(Provenance):
        if name == known:
            return cast(Provenance, known)
    raise ValueError(f"unknown provenance {name!r}")
