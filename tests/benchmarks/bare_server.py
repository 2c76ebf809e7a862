"""Bare views on the same web server as the service: `python -m tests.benchmarks.bare_server ADDRESS`."""

from __future__ import annotations

import sys
from typing import Any

from surveys.commands.web_server import Server


class Bare(Server):
    def load(self) -> Any:
        import django
        from django.test import override_settings

        override_settings(MIDDLEWARE=[], ROOT_URLCONF="tests.benchmarks.bare").enable()
        django.setup()
        from django.core.wsgi import WSGIHandler

        return WSGIHandler()


if __name__ == "__main__":
    Bare(sys.argv[1]).run()
