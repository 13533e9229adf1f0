"""docs/api.md and docs/results-file.md name what the code does."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from qcapp.api.urls import urlpatterns
from qcapp.inspections.services.results_file import NEEDED, OPTIONAL
from qcapp.inspections.states import Flag

REPOSITORY = Path(__file__).resolve().parent.parent.parent
SERVICES = REPOSITORY / "qcapp" / "inspections" / "services"
REFUSAL = re.compile(r"(?:Invalid|Refused|NotAllowed|NotFound|Conflict)\(\s*\"([a-z_]+)\"")


def document(name: str) -> str:
    return (REPOSITORY / "docs" / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("module", ["operations.py", "circumstances.py", "rules.py", "recording.py"])
def test_names_every_code_an_operation_can_be_rejected_with(module: str) -> None:
    codes = set(REFUSAL.findall((SERVICES / module).read_text(encoding="utf-8")))
    assert codes
    assert {code for code in codes if f"`{code}`" not in document("api.md")} == set()


def test_names_every_flag() -> None:
    assert [flag for flag in Flag if f"`{flag.value}`" not in document("api.md")] == []


def test_names_every_address() -> None:
    text = document("api.md")
    paths = [str(pattern.pattern).removeprefix("v1/") for pattern in urlpatterns]
    plain = [re.sub(r"<\w+:(\w+)>", r"<\1>", path) for path in paths]
    last = {path: path.rpartition("/")[2] for path in plain}
    missing = [path for path in plain if f"`{path}" not in text and f"`/{last[path]}`" not in text]
    assert missing == ["schema"]  # it is named in the first paragraph


def test_names_every_column_of_the_results_file() -> None:
    text = document("results-file.md")
    assert [column for column in (*NEEDED, *OPTIONAL) if f"| `{column}` |" not in text] == []
