"""Collected static files are complete, carry their digest, and name each other by it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.test import override_settings

IMPORT = re.compile(r"""(?:from|import)\s*["'](\.[^"']+)["']""")  # as the scripts are sent, without blanks


@pytest.fixture(scope="module")
def collected(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("static")
    hashed = {"staticfiles": {"BACKEND": "qcapp.config.static_storage.HashedStaticStorage"}}
    with override_settings(STATIC_ROOT=folder, STORAGES=settings.STORAGES | hashed):
        call_command("collectstatic", interactive=False, verbosity=0)
        yield folder


def test_collects_our_own_files_and_leaves_out_what_no_page_names(collected: Path) -> None:
    names = json.loads((collected / "staticfiles.json").read_text())["paths"]
    own = {str(file.relative_to(folder)) for folder in settings.STATICFILES_DIRS for file in folder.rglob("*.*")}
    assert own <= set(names)
    assert "django_htmx/htmx-2.min.js" in names
    assert not any(name.startswith(("rest_framework", "django_htmx/ext")) for name in names)
    assert all((collected / hashed).is_file() for hashed in names.values())


def test_lets_modules_import_each_other_by_their_hashed_names(collected: Path) -> None:
    names = json.loads((collected / "staticfiles.json").read_text())["paths"]
    found = 0
    for name in [name for name in names if name.endswith(".js") and name.startswith(("js/", "capture/"))]:
        file = collected / names[name]
        for imported in IMPORT.findall(file.read_text()):
            target = (file.parent / imported).resolve()
            assert target.is_file(), f"{name} imports {imported}"
            assert target.relative_to(collected).as_posix() in names.values(), f"{name} imports {imported}"
            found += 1
    assert found > 0
