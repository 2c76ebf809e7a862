"""Every address of the API and of the pages, for tests that walk them all."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from django.urls import URLPattern, get_resolver

AN_ID = "01890000-0000-7000-8000-000000000000"
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


def patterns(among: Any = None, before: str = "") -> Iterator[tuple[str, URLPattern]]:
    """Routes as the resolver has them, but for those that catch what nothing else answers."""
    for one in get_resolver().url_patterns if among is None else among:
        here = before + str(one.pattern)
        if not isinstance(one, URLPattern):
            yield from patterns(one.url_patterns, here)
        elif "(?P" not in here and here != "api/":
            yield here, one


def routes() -> Iterator[str]:
    """Routes under api/v1/."""
    return (route for route, _ in patterns() if route.startswith("api/v1/"))


def calls() -> Iterator[tuple[str, str]]:
    """Method and route of every call there is, the administrators' pages aside."""
    for route, pattern in patterns():
        if not route.startswith("admin/"):
            yield from ((method, route) for method in METHODS if method in methods_of(pattern.callback))


def methods_of(view: Any) -> set[str]:
    """What a view answers; a page that is a function takes forms too, or says that it does not."""
    if actions := getattr(view, "actions", None):
        return {method.upper() for method in actions}
    if cls := getattr(view, "cls", None) or getattr(view, "view_class", None):
        offered = {name.upper() for name in cls.http_method_names if hasattr(cls, name)}
        return offered.intersection(METHODS)
    return {"GET", "POST"}


def address(route: str) -> str:
    """An address of a route, of records that are not there."""
    return "/" + re.sub(r"<(\w+):\w+>", lambda found: AN_ID if found[1] == "uuid" else "x", route)
