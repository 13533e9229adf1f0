"""The settings of the tests: a database file of the run's own, a fast hasher, nothing from the developer's
environment.
"""

from __future__ import annotations

import atexit
import os
import shutil
import tempfile
from pathlib import Path
from typing import Any

_kept = {name: value for name, value in os.environ.items() if name.startswith("QCAPP_")}
_folder = Path(tempfile.mkdtemp(prefix="qcapp-test-"))
atexit.register(shutil.rmtree, _folder, ignore_errors=True)
for _name in _kept:
    if not _name.startswith("QCAPP_TEST_"):
        del os.environ[_name]
os.environ["QCAPP_DATA_DIR"] = str(_folder)
os.environ["QCAPP_SECRET_KEY"] = "a key for tests only, " * 3
os.environ["QCAPP_PUBLIC_URL"] = "http://testserver"
os.environ["QCAPP_SIGNING_PASSPHRASE"] = "a passphrase for tests only"  # noqa: S105 - it protects nothing
if os.environ.get("QCAPP_TEST_DATABASE_URL"):
    os.environ["QCAPP_DATABASE_URL"] = os.environ["QCAPP_TEST_DATABASE_URL"]

from .settings import *  # noqa: E402, F403 - the real settings, read from the environment made above
from .settings import DATABASES, INSTALLED_APPS, LOGGING, STORAGES  # noqa: E402

# A test run may lose its rows at a power cut; tests/architecture checks the real options.
_database = DATABASES["default"]
_options: dict[str, Any] = _database["OPTIONS"]
if "sqlite" in _database["ENGINE"]:
    # A file, because threads of one process get "table is locked" from a database in memory.
    _database["TEST"] = {"NAME": _folder / "test.sqlite3"}
    _options["init_command"] = _options["init_command"].replace("synchronous=FULL", "synchronous=OFF")
else:
    _database["CONN_MAX_AGE"] = 0
    _options["options"] = "-c synchronous_commit=off"

INSTALLED_APPS += ["tests.lib.guarded"]
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES["staticfiles"] = {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"}
WHITENOISE_AUTOREFRESH = True
LOGGING["root"]["level"] = "WARNING"
QCAPP_ASKED_A_MINUTE = {"look-up": 0, "api": 0}  # a test of one minute is a year of somebody's look-ups
QCAPP_SECOND_FACTOR = "offered"
QCAPP_TESTING = True  # lets tests sign without a PIN, as the demonstration does
