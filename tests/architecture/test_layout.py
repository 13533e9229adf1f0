"""The tree has its agreed shape, and no module or function outgrows it."""

from __future__ import annotations

import ast
import re
import subprocess
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parent.parent.parent
TOP = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "manage.py",
    "qcapp",
    "templates",
    "locale",
    "static",
    "tests",
    "fixtures",
}
TOP |= {"docs"}
DOTTED = {".ci", ".gitignore", ".gitattributes", ".pre-commit-config.yaml", ".editorconfig"}
DRAWERS = {"utils", "helpers", "common", "manager", "base", "misc"}
LONGEST_MODULE = 400
LONGEST_FUNCTION = 50
UNFINISHED = re.compile("TO" + r"DO\b|FIX" + r"ME\b|NotImplemented" + "Error")


def tracked() -> list[Path]:
    """What git has or would take: everything that it is not told to ignore."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=REPOSITORY, check=True, capture_output=True, text=True).stdout
    return [Path(line) for line in listed.splitlines() if (REPOSITORY / line).is_file()]


SOURCES = [file for file in tracked() if file.suffix == ".py" and file.parts[0] in {"qcapp", "manage.py"}]


def test_has_nothing_else_at_the_top() -> None:
    assert {file.parts[0] for file in tracked()} - TOP - DOTTED == set()


def test_has_no_drawer_for_odds_and_ends() -> None:
    named = {part.removesuffix(".py") for file in SOURCES for part in file.parts}
    assert named & DRAWERS == set()


@pytest.mark.parametrize("file", SOURCES, ids=str)
def test_keeps_modules_and_functions_short(file: Path) -> None:
    if "migrations" in file.parts:
        return
    text = (REPOSITORY / file).read_text(encoding="utf-8")
    assert len(text.splitlines()) <= LONGEST_MODULE
    functions = [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)]
    long = [f"{node.name} {length(node)}" for node in functions if length(node) > LONGEST_FUNCTION]
    assert long == []


def length(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    return (node.end_lineno or node.lineno) - node.lineno + 1


def test_leaves_nothing_unfinished() -> None:
    found = [
        f"{file}:{number}"
        for file in tracked()
        if file.suffix in {".py", ".js", ".html", ".css", ".toml", ".md"}
        for number, line in enumerate((REPOSITORY / file).read_text(encoding="utf-8").splitlines(), 1)
        if UNFINISHED.search(line)
    ]
    assert found == []
