"""The main job from the shell: plan file out and in, results from a file, a certificate, the audit; and the demo."""

from __future__ import annotations

import csv
import io
import json
import os
import sqlite3
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from qcapp.inspections.queries import inspection_of
from qcapp.inspections.services import open_unit

from .by_api import AUTHOR, INSPECTOR, MANAGER
from .small_demonstration import TANK, play

REPOSITORY = Path(__file__).resolve().parents[2]
NEW = "FT-14-0099"


@pytest.fixture
def data_folder(settings: Any, tmp_path: Path) -> Path:
    """Where this test's anchors and certificates go."""
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


def shell(command: str, *arguments: str, **options: Any) -> str:
    """What a command prints."""
    told = io.StringIO()
    call_command(command, *arguments, stdout=told, **options)
    return told.getvalue()


@pytest.mark.django_db(transaction=True)
def test_does_the_main_job_from_the_shell(data_folder: Path) -> None:
    cast = play(TANK)
    _plan_out_and_in_again(data_folder)
    open_unit(by=cast.people[INSPECTOR], family_code="FT-14", serial=NEW, at=timezone.now())
    _results_from_a_file(data_folder)
    _certificate(data_folder)
    report = json.loads(shell("verify_audit", "--json"))
    assert (report["holds"], report["anchors_checked"] > 0) == (True, True)


def _plan_out_and_in_again(folder: Path) -> None:
    out, again = folder / "plan.csv", folder / "again.csv"
    assert "FT-14 revision B is in" in shell("export_plan", "FT-14", "--output", str(out))
    assert "FT-14 revision C is a draft" in shell(
        "import_plan", str(out), "--family", "FT-14", "--by", AUTHOR, "--note", "next"
    )
    shell("export_plan", "FT-14", "--revision", "C", "--output", str(again))
    assert again.read_bytes() == out.read_bytes()


def _results_from_a_file(folder: Path) -> None:
    view = inspection_of(NEW)
    cards = [one.card for one in view.checkpoints if one.state != "not_due" and one.card.kind == "attribute"]
    rows = [_row(NEW, card.key, "conforms") for card in cards]
    rows += [_row(NEW, cards[0].key, "conforms?"), _row("FT-14-9999", cards[0].key, "conforms")]
    file = folder / "results.csv"
    with file.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.DictWriter(stream, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    told = shell("import_results", str(file), "--by", MANAGER)
    assert f"{len(cards)} recorded, 0 known before, 2 rejected." in told
    rejects = list(csv.DictReader((folder / "results.csv.rejects.csv").read_text(encoding="utf-8").splitlines()))
    assert [(one["code"], one["line"]) for one in rejects] == [
        ("verdict_unreadable", str(len(rows))), ("serial_unknown", str(len(rows) + 1)),
    ]  # fmt: skip
    assert f"0 recorded, {len(cards)} known before" in shell("import_results", str(file), "--by", MANAGER)


def _row(serial: str, checkpoint: str, value: str) -> dict[str, str]:
    at = timezone.now().isoformat(timespec="seconds")
    return {
        "serial": serial, "checkpoint": checkpoint, "value": value, "gauge": "", "recorded_at": at, "badge": INSPECTOR,
    }  # fmt: skip


def _certificate(folder: Path) -> None:
    first, again = folder / "first.pdf", folder / "again.pdf"
    told = shell("certificate", TANK, "--output", str(first))
    assert f"issue 1 of {TANK}" in told
    shell("certificate", TANK, "--output", str(again))
    assert first.read_bytes()[:5] == b"%PDF-"
    assert first.read_bytes() == again.read_bytes()
    with pytest.raises(CommandError, match="not_released"):
        shell("certificate", NEW, "--output", str(again), "--by", MANAGER)


# ----------------------------------------------------------------------------------------------- demonstration

ON_TWO_UNITS = """
from qcapp.config.demonstration import stories
stories.UNITS = tuple(story for story in stories.UNITS if story.serial in ("FT-14-0090", "HT-6-0094"))
stories.ALL_TOLD = False
import manage
manage.main()
"""


def demo(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """`manage.py demo --no-serve` on a machine where nothing is set, with two of its units."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("QCAPP_", "DJANGO_"))}
    command = [sys.executable, "-c", ON_TWO_UNITS, "demo", "--data", str(folder), "--no-serve", *arguments]
    return subprocess.run(command, cwd=REPOSITORY, env=kept, capture_output=True, text=True)


def identity(folder: Path) -> tuple[str, int, list[str]]:
    """Which life of the chain it is, how many acts it holds, and the units."""
    with sqlite3.connect(f"file:{folder / 'qcapp.sqlite3'}?mode=ro", uri=True) as database:
        epoch, number = database.execute("SELECT epoch, number FROM audit_chainhead").fetchone()
        units = database.execute(
            "SELECT serial FROM production_unit WHERE serial NOT LIKE 'TK-200%' ORDER BY serial"
        ).fetchall()
    database.close()
    return epoch, number, [serial for (serial,) in units]


def test_makes_the_demonstration_once_and_anew_when_asked(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    first = demo(folder)
    assert first.returncode == 0, first.stderr
    for word in ("http://localhost:8000/", "1009", "quality manager", "PIN", "FR-200-0147", "invented"):
        assert word in first.stdout
    made = identity(folder)
    assert made[2] == ["FT-14-0090", "HT-6-0094"]

    second = demo(folder)
    assert (second.returncode, "Making" in second.stdout) == (0, False)
    assert identity(folder) == made

    anew = demo(folder, "--reset")
    assert anew.returncode == 0, anew.stderr
    epoch, number, units = identity(folder)
    assert (epoch != made[0], number, units) == (True, made[1], made[2])


def test_leaves_a_folder_alone_that_holds_other_records(tmp_path: Path) -> None:
    database = tmp_path / "qcapp.sqlite3"
    database.write_bytes(b"")
    for arguments in ((), ("--reset",)):
        refused = demo(tmp_path, *arguments)
        assert refused.returncode != 0
        assert "Traceback" not in refused.stderr
        assert "--data" in refused.stderr
    assert sorted(file.name for file in tmp_path.iterdir()) == ["qcapp.sqlite3"]
    assert database.read_bytes() == b""
