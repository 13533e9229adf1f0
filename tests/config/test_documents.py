"""The data model and the sources of the numbers in docs/ are those of the code."""

from __future__ import annotations

import json
import re
from email.message import Message
from pathlib import Path

import pytest
from defusedxml import ElementTree
from django.apps import apps
from django.core.management import CommandError, call_command
from pytest_django import Settings

from qcapp.config.documents import DRAWN
from qcapp.config.documents import measured as recorded
from qcapp.config.documents.dependencies import LOCKED, licence_of, locked
from qcapp.config.documents.numbers import ROOMS

CORE_WITHOUT_NUMBERS = {"__init__", "errors", "findings", "variants", "workflow"}
# Which ask the core and hand on what it said: pages, files, sentences, pictures, which unit is due for a sample.
HAND_ON = {
    "goods/queries/lots.py", "goods/services/lots.py", "improvement/pictures/compared.py",
    "inspections/queries/coming.py", "inspections/queries/standing.py", "plans/calculators/lots.py",
    "plans/plan_rows.py", "trends/characteristic.py", "trends/pictures/charted.py", "trends/plain.py",
    "trends/views.py", "trends/words.py",
}  # fmt: skip


def test_is_current() -> None:
    call_command("write_documents", "--check")


@pytest.mark.parametrize("name", list(DRAWN))
def test_notices_a_document_that_is_not(settings: Settings, tmp_path: Path, name: str) -> None:
    settings.BASE_DIR = tmp_path
    (tmp_path / "docs").mkdir()
    call_command("write_documents")
    call_command("write_documents", "--check")
    with (tmp_path / "docs" / name).open("a") as file:
        file.write("x")
    with pytest.raises(CommandError, match="not current"):
        call_command("write_documents", "--check")


def test_has_every_table_of_the_rooms() -> None:
    text = DRAWN["data-model.md"]()
    ours = [model for model in apps.get_models() if model.__module__.startswith("qcapp.")]
    assert len(ours) > 100
    assert [model._meta.db_table for model in ours if f"`{model._meta.db_table}`." not in text] == []
    assert "### Result – **written once**" in text


def test_has_the_formulas_that_verdicts_rest_on() -> None:
    text = DRAWN["numbers.md"]()
    for word in ("`judge`", "ISO 22514-2", "capability", "uncertainty", "common practice, no source"):
        assert word in text


def test_tells_of_every_module_that_computes() -> None:
    """All of the core, and every module of a room that does statistics, but for those that draw or hand on."""
    text = DRAWN["numbers.md"]()
    core = [file for file in (ROOMS / "core").rglob("*.py") if file.stem not in CORE_WITHOUT_NUMBERS]
    by_statistics = re.compile(r"(?m)^(?:import|from) (?:scipy|numpy|statistics)|^from qcapp\.core\.statistics")
    files = (file for room in ROOMS.iterdir() if room.name not in ("core", "config") for file in room.rglob("*.py"))
    rooms = [file for file in files if by_statistics.search(file.read_text(encoding="utf-8"))]
    assert len(core) > 60
    assert len(rooms) > 15
    computing = [file for file in rooms if str(file.relative_to(ROOMS)) not in HAND_ON]
    named = {f"(`qcapp/{file.relative_to(ROOMS)}`)": file for file in (*core, *computing)}
    assert [str(file) for name, file in named.items() if name not in text] == []


def test_names_every_locked_library_with_its_licence() -> None:
    pins = [line for line in LOCKED.read_text(encoding="utf-8").splitlines() if "==" in line]
    told = list(locked())
    assert len(told) == len(pins) > 50
    assert [name for name, _, licence in told if not licence] == []
    assert ("django", "BSD-3-Clause") in {(name, licence) for name, _, licence in told}


def test_tells_a_licence_in_the_standards_words_before_the_librarys_own() -> None:
    said = Message()
    assert licence_of(said) == "not said"
    said["License"] = "our own words, which go on\nfor pages"
    assert licence_of(said) == "our own words, which go on"
    said["Classifier"] = "License :: OSI Approved :: MIT License"
    assert licence_of(said) == "MIT"
    said["License-Expression"] = "Apache-2.0"
    assert licence_of(said) == "Apache-2.0"


def run_of(value: float) -> str:
    line = {"group": "traceability", "name": "history screen, p95", "value": value, "unit": "ms", "frames": 7}
    return json.dumps({"on": "2026-11-26", "database": "PostgreSQL", "measurements": [line]})


def test_keeps_a_run_and_tells_the_latest_of_each_measure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file, kept = tmp_path / "run.json", tmp_path / "measured.json"
    for value in (61.5, 58.0):
        file.write_text(run_of(value), encoding="utf-8")
        assert recorded.add(file, machine="two cores", note="", kept=kept) == 1
    monkeypatch.setattr(recorded, "KEPT", kept)
    (one,) = recorded.latest()
    assert (one.value, one.frames, one.where) == (58.0, 7, "2026-11-26, two cores, PostgreSQL")


def test_refuses_a_file_that_no_benchmark_wrote(tmp_path: Path) -> None:
    file = tmp_path / "other.json"
    for text in ("[]", "{}", "no JSON"):
        file.write_text(text, encoding="utf-8")
        with pytest.raises(CommandError):
            call_command("write_documents", "--measured", str(file), "--machine", "two cores")
    with pytest.raises(CommandError, match="--machine"):
        call_command("write_documents", "--measured", str(file))


def test_draws_each_growth_curve_with_its_name_and_a_mark_for_each_point() -> None:
    drawing = ElementTree.fromstring(DRAWN["growth.svg"]())
    lines = drawing.findall("{*}polyline")
    points = sum(len(line.attrib["points"].split()) for line in lines)
    assert len(lines) >= 2
    assert len(drawing.findall("{*}circle")) + len(drawing.findall("{*}rect")) - 1 == points
    words = {text.text for text in drawing.findall("{*}text")}
    assert "history screen, p95" in words
    assert all(x >= 0 for line in lines for x in map(float, line.attrib["points"].replace(",", " ").split()))
