"""Settings of the demo: database and secret key in the folder `.demo`, which git ignores."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[3] / ".demo"


def prepare() -> None:
    """Set the environment before the settings are read. Variables of the calling shell are not used."""
    FOLDER.mkdir(exist_ok=True)
    os.environ.update(
        SECRET_KEY=_secret(FOLDER / "secret"),
        DATABASE_URL=f"sqlite:///{FOLDER / 'demo.sqlite3'}",
        CELERY_BROKER_URL="",
        ALLOWED_HOSTS="127.0.0.1,localhost",
        DEBUG="off",
        HTTPS="off",
        LOG_LEVEL="WARNING",
    )


def _secret(file: Path) -> str:
    if not file.exists():
        file.touch(mode=0o600)
        file.write_text(secrets.token_urlsafe(50), encoding="ascii")
    return file.read_text(encoding="ascii")
