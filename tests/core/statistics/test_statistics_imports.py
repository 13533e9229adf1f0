"""What importing the statistics costs, and that every file of published numbers is in use."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.core.statistics.vectors import FOLDER

HERE = Path(__file__).parent


@pytest.mark.parametrize(
    ("modules", "kept_out"),
    [
        (("sampling", "frequency", "operating", "switching", "yields"), {"numpy", "scipy"}),
        (("charts", "capability", "gauge_study", "plausibility", "agreement", "run_length"), {"scipy"}),
    ],
)
def test_loads_no_more_than_it_needs(modules: tuple[str, ...], kept_out: set[str]) -> None:
    names = ", ".join(f"qcapp.core.statistics.{module}" for module in modules)
    code = f"import sys, {names}; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert "qcapp.core.statistics" in loaded.stdout
    assert not kept_out & set(loaded.stdout.split())


def test_uses_every_file_of_published_numbers() -> None:
    files = {path.stem for path in FOLDER.glob("*.json") if path.stem.startswith(("statistics_", "acceptance_"))}
    tests = "\n".join(path.read_text(encoding="utf-8") for path in HERE.glob("test_*.py"))
    named = set(re.findall(r"(?:statistics|acceptance)_\w+", tests))
    built = {f"statistics_nist_strd_univariate_{name}" for name in re.findall(r'"(\w+)"', strd_line(tests))}
    built |= {f"statistics_nist_strd_anova_{name}" for name in ("sirstv", "smls01")}
    built |= {f"statistics_capability_fallout_{name}" for name in ("one_sided", "two_sided")}
    assert len(files) > 50
    assert files - named - built == set()


def strd_line(tests: str) -> str:
    return next(line for line in tests.splitlines() if line.startswith("SETS = "))
