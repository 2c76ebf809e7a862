"""Words that messages choose from: directions, states, kinds."""

from __future__ import annotations

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

TERMS: Mapping[str, Promise] = {
    "upstream": _("upstream"),
    "downstream": _("downstream"),
    "too-high": _("too high"),
    "too-low": _("too low"),
    "higher": _("higher"),
    "lower": _("lower"),
    "accepted": _("accepted"),
    "rejected": _("rejected"),
    "review-confirmed": _("confirmed"),
    "review-corrected": _("corrected"),
    "review-under-review": _("under review"),
    "review-void": _("void"),
    "review-withdrawn": _("withdrawn"),
    "check-within": _("within limits"),
    "check-warning": _("warning"),
    "check-out": _("out of limits"),
    "day": _("day"),
    "days": _("days"),
    "hour": _("hour"),
    "hours": _("hours"),
}


def word_of(slug: str) -> str:
    """The word of a slug; one that is not listed with spaces for its hyphens."""
    listed = TERMS.get(slug)
    return str(listed) if listed is not None else slug.replace("-", " ")
