"""Collected static files are complete, carry their digest, and name each other by it."""

from __future__ import annotations

import json
import os
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


def test_collects_what_this_version_brings_over_younger_files_of_another(tmp_path: Path) -> None:
    """A release is older than its installation; what the version before collected here may be younger than that."""
    brought, hashed = (
        tmp_path / "brought",
        {"staticfiles": {"BACKEND": "qcapp.config.static_storage.HashedStaticStorage"}},
    )
    brought.mkdir()
    script, there = brought / "verdict.js", tmp_path / "collected" / "verdict.js"
    changed = {"STATICFILES_DIRS": [brought], "STATIC_ROOT": there.parent, "STORAGES": settings.STORAGES | hashed}
    with override_settings(**changed):
        for text, packed_at in (("of before", 2_000_000_000), ("of this version", 1_000_000_000)):
            script.write_text(text)
            os.utime(script, (packed_at, packed_at))
            call_command("collectstatic", interactive=False, verbosity=0)
            assert there.read_text() == text


# Places where a script writes under a key that it has computed: what they write into, and why no name of an object's
# own prototype can stand there. A new one has to be thought about, and written down here.
WRITES_BY_KEY = {
    ("capture/outbox.js", "bytes[i]"): "an array of bytes, by a counted number",
    (
        "capture/entering.js",
        "state.inHand[gauge.kind]",
    ): "a gauge's number: a text, which no object takes for a prototype",
    ("capture/lot.js", "state.inHand[state.data.gauges.find((one) => one.number === number).kind]"): "the same",
}
WRITE = re.compile(r"([\w.]+(?:\[[^\]]*\])*\[(?!\s*[\"'`\d])[^\]]+\])\s*(?:=(?!=|>)|\+\+|--|[-+|&^*]=|\?\?=|\|\|=)")
MERGES = re.compile(
    r"(?:Object\.assign\([^,]+,\s*(?:JSON\.parse|await|data\b|body\b)|__proto__|setPrototypeOf|\.constructor\[)"
)


def test_writes_no_property_under_a_name_that_came_from_outside() -> None:
    """Else a name such as `__proto__` would change every object of the page (prototype pollution)."""
    scripts = {
        file.relative_to(folder).as_posix(): file.read_text(encoding="utf-8")
        for folder in settings.STATICFILES_DIRS
        for file in folder.rglob("*.js")
    }
    assert len(scripts) > 20
    found = {(name, write) for name, text in scripts.items() for write in WRITE.findall(text)}
    assert found == set(WRITES_BY_KEY)
    merged = {(name, merge) for name, text in scripts.items() for merge in MERGES.findall(text)}
    assert merged == set()


@pytest.mark.parametrize(
    "line", ["state[name] = 1", "kept[row.key] ||= []", "o[a][b] = c", "Object.assign(state, JSON.parse(x))"]
)
def test_would_notice_such_a_write(line: str) -> None:
    assert WRITE.search(line) or MERGES.search(line)
