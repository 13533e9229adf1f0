"""A test that is skipped because something is missing fails in CI, and only there."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

REPOSITORY = Path(__file__).resolve().parent.parent.parent
SKIPPED = """
import pytest

def test_needs_something():
    pytest.skip("there is no browser")

@pytest.mark.xfail(reason="known")
def test_fails_as_known():
    assert False
"""


@pytest.mark.parametrize(("ci", "failed"), [("true", 1), ("", 0)])
def test_counts_a_skipped_test_as_failed_in_ci(tmp_path: Path, ci: str, failed: int) -> None:
    (tmp_path / "test_skipped.py").write_text(SKIPPED)
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "-p",
        "tests.skips_fail",
        "-c",
        "pyproject.toml",
        tmp_path,
    ]
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST")}
    done = subprocess.run(command, cwd=REPOSITORY, env=environment | {"CI": ci}, capture_output=True, text=True)
    assert done.returncode == failed, done.stdout
    assert ("1 failed, 1 xfailed" if failed else "1 skipped, 1 xfailed") in done.stdout
