"""The web server, started from Python with this project's settings."""

from __future__ import annotations

from typing import Any

from gunicorn.app.base import BaseApplication

THREADS = 4


class _Server(BaseApplication):
    def __init__(self, bind: str) -> None:
        self._bind = bind
        super().__init__()

    def load_config(self) -> None:
        settings = {
            "bind": self._bind,
            "worker_class": "gthread",
            "threads": THREADS,
            "accesslog": None,
            # Nothing here is steered while it runs, and a read-only container has no place for a socket.
            "control_socket_disable": True,
        }
        for name, value in settings.items():
            self.cfg.set(name, value)

    def load(self) -> Any:
        from surveys.wsgi import application

        return application


def serve(bind: str) -> None:
    """Serve until stopped."""
    _Server(bind).run()
