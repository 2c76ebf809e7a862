"""Addresses for the `Location` header: where a created record or a started recalculation is read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.urls import resolve, reverse

# Seconds after which a client asks again for the state of a recalculation or a plan.
RETRY_AFTER = "2"


def location_of(path: str, status: int, data: Any) -> str:
    """Return the address of the record or the run that an answer to `path` describes.

    A record without an address of its own is read at the address of its collection.
    """
    shown = data if isinstance(data, Mapping) else {}
    if status == 202:
        return _run_location(shown) or _detail_location(path, shown)
    return _detail_location(path, shown)


def _run_location(shown: Mapping[str, Any]) -> str:
    if "recomputations" in shown:
        return reverse("recomputation-list")
    run = shown.get("recomputation")
    key = run.get("id") if isinstance(run, Mapping) else run
    return reverse("recomputation-detail", kwargs={"pk": key}) if key else ""


def _detail_location(path: str, shown: Mapping[str, Any]) -> str:
    detail = f"{path}{shown.get('id', '')}/"
    # The last route answers every unknown address with 404; only a record's route has parameters for its id.
    known = "id" in shown and len(resolve(detail).kwargs) > len(resolve(path).kwargs)
    return detail if known else path
