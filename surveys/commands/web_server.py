"""Web server, started from Python with the settings of the project."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from gunicorn.app.base import BaseApplication

THREADS = 4


class Server(BaseApplication):
    def __init__(self, bind: str) -> None:
        self._bind = bind
        super().__init__()

    def load_config(self) -> None:
        wanted = {
            "bind": self._bind,
            "worker_class": "gthread",
            "threads": THREADS,
            "accesslog": None,
            "logconfig_dict": settings.LOGGING,
            # Nothing controls the server while it runs, and a read-only container has no place for a socket.
            "control_socket_disable": True,
        }
        for name, value in wanted.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        from surveys.wsgi import application

        return application


def serve(bind: str) -> None:
    """Serve until the process is stopped."""
    Server(bind).run()
