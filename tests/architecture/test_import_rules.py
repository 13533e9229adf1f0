"""The import rules of pyproject.toml hold, cover every room, and each of them notices a planted violation."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

REPOSITORY = Path(__file__).resolve().parent.parent.parent
LINT = [
    sys.executable,
    "-c",
    "from importlinter.cli import lint_imports_command; lint_imports_command()",
    "--no-cache",
]

# A module, what is planted into it, and the contract that must notice.
PLANTED = [
    ("audit/queries.py", "import qcapp.people.queries", "Rooms stack in one direction"),
    ("people/queries.py", "import qcapp.people.services", "Inside a room, requests flow down"),
    ("core/errors.py", "import qcapp.core.workflow", "Inside the core"),
    ("core/sealing.py", "import django.db", "The core and the state tables are plain Python"),
    ("plans/queries.py", "import rest_framework", "Only the API speaks REST framework"),
    ("lib/write_once.py", "import qcapp.audit.verbs", "No cycles among siblings"),
    ("history/queries.py", "import qcapp.audit.models", "Tables of audit are its own"),
]


WITHOUT_TABLES: set[str] = set()  # rooms that only read


def contracts() -> list[dict[str, Any]]:
    settings = tomllib.loads((REPOSITORY / "pyproject.toml").read_text(encoding="utf-8"))
    found: list[dict[str, Any]] = settings["tool"]["importlinter"]["contracts"]
    return found


def lint(folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(LINT, cwd=folder, capture_output=True, text=True)


def rooms() -> set[str]:
    found = [
        *REPOSITORY.glob("qcapp/*/models.py"),
        *(each.parent for each in REPOSITORY.glob("qcapp/*/models/__init__.py")),
    ]
    return {f"qcapp.{models.parent.name}" for models in found}


def test_holds() -> None:
    done = lint(REPOSITORY)
    assert done.returncode == 0, done.stdout + done.stderr


def test_covers_every_room() -> None:
    by_name = {contract["name"]: contract for contract in contracts()}
    protected = {module for contract in contracts() for module in contract.get("protected_modules", [])}
    assert protected == {f"{room}.models" for room in rooms()}
    assert set(by_name["Inside a room, requests flow down"]["containers"]) == rooms() | WITHOUT_TABLES
    doors = {"qcapp.history", "qcapp.capture", "qcapp.lib"}
    assert set(by_name["Only the API speaks REST framework"]["source_modules"]) == rooms() | WITHOUT_TABLES | doors


def test_opens_a_room_s_tables_to_that_room_alone() -> None:
    for contract in contracts():
        for module in contract.get("protected_modules", []):
            room = module.removesuffix(".models")
            assert all(importer.startswith(f"{room}.") for importer in contract["allowed_importers"]), room


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Each contract's verdict on a copy of the tree with all violations planted."""
    folder = tmp_path_factory.mktemp("planted")
    shutil.copy(REPOSITORY / "pyproject.toml", folder)
    shutil.copytree(REPOSITORY / "qcapp", folder / "qcapp", ignore=shutil.ignore_patterns("__pycache__"))
    for module, line, _ in PLANTED:
        file = folder / "qcapp" / module
        file.write_text((file.read_text() if file.exists() else "") + f"\n{line}\n")
    lines = lint(folder).stdout.splitlines()
    return {
        line.rsplit(" ", 1)[0].strip(): line.rsplit(" ", 1)[1] for line in lines if line.endswith((" KEPT", " BROKEN"))
    }


@pytest.mark.parametrize("contract", sorted({contract for _, _, contract in PLANTED}))
def test_notices_a_planted_violation(report: dict[str, str], contract: str) -> None:
    assert report[contract] == "BROKEN"


def test_keeps_what_nothing_was_planted_against(report: dict[str, str]) -> None:
    assert report["Tables of certificates are its own"] == "KEPT"
