"""`pytest --database-only`, which CI asks on the second database: too small a choice would pass and say nothing."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
# Read in the code of each file: which of its tests differ by database.
ASKED = (
    "tests/capture/test_outbox_model.py", "tests/capture/test_seeded_faults.py", "tests/inspections/test_recording.py",
    "tests/audit/test_chain.py", "tests/journeys/test_main_path_in_browser.py",
)  # fmt: skip
LEFT_OUT = ("tests/core/metrology/test_quantities.py", "tests/access/test_by_keyboard.py")


def collected(*options: str) -> dict[str, int]:
    """How many tests each of the files has under these options."""
    command = [sys.executable, "-m", "pytest", "--collect-only", "-qq", "-n", "0", *options, *ASKED, *LEFT_OUT]
    done = subprocess.run(command, cwd=REPOSITORY, capture_output=True, text=True, timeout=120, check=True)
    counted = (line.rpartition(": ") for line in done.stdout.splitlines() if line.startswith("tests/"))
    return {name: int(count) for name, _, count in counted}


def test_asks_what_touches_the_database_and_leaves_out_what_does_not() -> None:
    whole, chosen = collected(), collected("--database-only")
    assert set(whole) == {*ASKED, *LEFT_OUT}
    assert set(chosen) == set(ASKED)
    for name in ("tests/capture/test_outbox_model.py", "tests/capture/test_seeded_faults.py"):
        assert chosen[name] == whole[name], name
    assert chosen["tests/inspections/test_recording.py"] > 0.9 * whole["tests/inspections/test_recording.py"]
