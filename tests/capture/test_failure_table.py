"""Every fault that the tablets are built for has a test: the table of docs/tablets.md, walked."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
HERE = ROOT / "tests/capture"
PAGE = (ROOT / "docs/tablets.md").read_text()

# The faults that were known before anything was built, each with words of its row in the table.
KNOWN = {
    "network off before and while entering": "network off while entering",
    "Wi-Fi up, server hangs": "Wi-Fi up, server hangs",
    "cold start with no network": "cold start without network",
    "browser killed": "browser killed",
    "power cut": "power cut",
    "killed while typing": "killed while typing",
    "500 before the commit, connection dropped after it": "500 before or after the commit",
    "the browser sends the request again by itself": "sends a request again by itself",
    "killed in the middle of sending": "browser killed in the middle of sending",
    "server killed and started again": "server killed and started again, in the middle of anything",
    "the same batch eight times at once": "the same batch eight times",
    "one invalid entry in a batch": "one invalid entry among others",
    "a key with another body": "key used again with another body",
    "two tabs open": "two tabs",
    "two tablets at one checkpoint": "two tablets, the same checkpoint",
    "login expired, token stale": "session gone, token stale",
    "another inspector signed in": "other person signed in",
    "the API redirected to a login page": "captive portal",
    "storage full": "or is full",
    "handle closed, a newer store": "closes the store's handle",
    "a new release while entering": "new version while entering",
    "an asset missing from the cache": "a kept file is missing",
    "wrong tablet clock": "clock three hours ahead",
    "a signature before its entries": "signature before its entries",
    "a server restored from a backup": "server restored from a backup",
    "plain http": "address without HTTPS",
    "a wrong certificate": "certificate that the tablet does not trust",
    "private mode": "private mode",
}


def rows() -> list[tuple[str, str]]:
    """Fault and tests of each row."""
    table = PAGE.split("## Faults that are tested")[1].split("\n## ")[0]
    cells = [line.strip("| \n").split(" | ") for line in table.splitlines() if line.startswith("|")]
    return [(one[0], one[-1]) for one in cells[2:]]


def names_in(path: Path) -> str:
    """The names of everything in a module that pytest runs."""
    tree = ast.parse(path.read_text())
    kinds = (ast.FunctionDef, ast.ClassDef)
    return "\n".join(
        one.name for one in ast.walk(tree) if isinstance(one, kinds) and one.name.lower().startswith("test")
    )


def named(cell: str) -> list[tuple[Path, str]]:
    """The modules that a cell names, each with the beginning or end of a test's name; empty for all of the module."""
    found: list[tuple[Path, str]] = []
    module = HERE
    for part in re.split(r"[;,] ", cell):
        if whole := re.search(r"`(tests/[\w/]+\.py)`", part):
            found.append((ROOT / whole[1], ""))
            continue
        if word := re.match(r"([a-z_]+)(?=:|$| with| \()", part):
            module = HERE / f"test_{word[1]}.py"
        fragment = re.search(r"`(?:…)?(\w+)(?:…)?`", part)
        if word or fragment:
            found.append((module, fragment[1] if fragment else ""))
    return found


@pytest.mark.parametrize(("fault", "cell"), rows(), ids=[fault for fault, _ in rows()])
def test_names_tests_that_are_there(fault: str, cell: str) -> None:
    if cell.startswith("the same"):
        cell = cell.partition("; ")[2]
    places = named(cell)
    assert places, f"{fault}: no test is named"
    for path, fragment in places:
        assert path.is_file(), f"{fault}: {path} is not there"
        assert fragment in names_in(path), f"{fault}: no test “{fragment}” in {path.name}"


@pytest.mark.parametrize("fault", sorted(KNOWN))
def test_has_a_row_for_every_known_fault(fault: str) -> None:
    assert [row for row, _ in rows() if KNOWN[fault] in row], f"no row about “{KNOWN[fault]}”"
