"""Settings of tests and of the type checker: as in production except for the following."""

import os
import tempfile

os.environ.setdefault("SECRET_KEY", "for-tests-only-0123456789-abcdefghijklmnopqrstuvwxyz-ABCDEF")
os.environ.setdefault("ALLOWED_HOSTS", "testserver,localhost,127.0.0.1")
os.environ.setdefault("HTTPS", "off")
os.environ.setdefault("LOG_LEVEL", "WARNING")

from surveys.settings import *  # noqa: F403

# Thousands of tests share one address; tests of throttles set their own limits.
THROTTLE_RATES = dict.fromkeys(THROTTLE_RATES)  # noqa: F405
# Real hashing takes a quarter of a second for each user.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# A file, not memory: threads and processes of a test use the same database, as in production.
if DATABASES["default"]["ENGINE"].endswith("sqlite3"):  # noqa: F405
    DATABASES["default"]["TEST"] = {  # noqa: F405
        "NAME": os.path.join(tempfile.gettempdir(), f"surveys-test-{os.getpid()}.sqlite3")
    }
