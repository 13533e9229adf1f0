"""`benchmark --all` prints every goal that the product promises; group by group, with the least work: `pytest --long`.

Nothing here looks at how long anything takes; the parts that cost little are run by the other tests of benchmarks.
"""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from qcapp.config.benchmarks import registry

REPOSITORY = Path(__file__).resolve().parents[2]
# What is promised, by the group of the benchmark: the measure as the benchmark calls it, and its goal.
GOALS = {
    "main": [
        ("submit 160 results in one request", "at most 5×"), ("history page, p95", "below 60 ms"),
        (r"history page, p95 with \d+ frames", "at most 1.3×"),
        ("certificate, asked for the first time", "at most 1.25×"),
    ],
    "core": [
        ("judge, one value at a time", "at least 200000 values/s"), (r"judge_many, \d+ values", "within 10×"),
        (r"capability, \d+ readings", "within 3×"), (r"individuals chart and run rules, \d+ readings", "within 3×"),
        (r"import_plan, \d+ rows with notations, read and checked", "under 200 ms"),
    ],
    "plans": [
        ("draft's table opened", "below 300 ms"), ("queries of the table", "at most 20"),
        ("queries of an edit", "at most 20"), ("a key in the plan's table answered in the browser, p95", "below 50 ms"),
    ],
    "floor": [
        ("Enter to verdict painted, p95, CPU slowed 4×", "below 50 ms"),
        ("cold start without network", "below 1000 ms"),
        ("page weight, first visit, unit included", "below 150000 bytes"),
        ("own JavaScript of the bench", "below 40000 bytes"),
        ("160 results and 5 photos sent", "below 1000 ms"),
        ("another person by tap and PIN, longest", "below 3 s"),
        (r"\d+ tablets, a batch of 5 every 2 s: errors", "none"),
        (r"\d+ tablets, a batch of 5 every 2 s: not stored exactly once", "none"),
        (r"\d+ tablets, a batch of 5 every 2 s: p95", "below 300 ms|"),  # the goal is PostgreSQL's
    ],
    "nonconformance": [
        ("raising a report adds", "at most 5 ms"), ("queue, everything, page 2", "below 150 ms"),
        ("Pareto by checkpoint, with weeks", "below 150 ms"), ("suspect population", "below 300 ms"),
    ],
    "traceability": [
        ("look-up by four digits, p95", "below 50 ms"), ("history screen, p95", "below 100 ms"),
        (r"history screen with \d+ frames", "at most 1.3×"), (r"affected by heat, \d+ units", "below 300 ms"),
        (r"\d+ readings of a bad gauge judged again", "below 2000 ms"),
    ],
    "certificate": [
        ("whole certificate: freeze, lay out, embed, sign", "at most 1.25×"), ("check of a signed PDF", "below 150 ms"),
        (r"batch on two cores, .*", "at least 1.5×"),
    ],
    "charts": [
        ("characteristic page, last 500 values", "below 200 ms"), ("watch page, computed anew", "below 1500 ms"),
        ("watch page, kept", "below 150 ms"), (r"characteristic page with \d+ frames", "at most 1.3×"),
    ],
}  # fmt: skip
BARE = {  # limits alone, as the floor's
    "check of a signed PDF", "queries of the table", "queries of an edit",
    "a key in the plan's table answered in the browser, p95",
}  # fmt: skip


def lines_of(folder: Path, group: str) -> list[dict[str, Any]]:
    """Everything that the group measures, each with as little work as it takes."""
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("QCAPP_", "DJANGO_"))}
    ours = {"QCAPP_DATA_DIR": str(folder), "QCAPP_SECRET_KEY": "one that only this test uses, " * 3}
    if url := os.environ.get("QCAPP_TEST_DATABASE_URL"):
        ours["QCAPP_DATABASE_URL"] = url
    least = ["--scale", "0.001", "--repeats", "1", "--seconds", "3", "--units", "30", "--json", "-"]
    done = subprocess.run(
        [sys.executable, "manage.py", "benchmark", f"--{group}", *least],
        cwd=REPOSITORY, env=kept | ours, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-4000:]
    found: list[dict[str, Any]] = json.loads(done.stdout)["measurements"]
    return found


def test_knows_every_group() -> None:
    assert set(registry.load()) == GOALS.keys()


@pytest.mark.parametrize("group", list(GOALS))
def test_prints_every_goal_with_its_ratio(tmp_path: Path, group: str) -> None:
    lines = lines_of(tmp_path, group)
    for name, goal in GOALS[group]:
        named = [line for line in lines if re.fullmatch(name, line["name"])]
        assert named, f"nothing measures “{name}”"
        assert all(line["goal"] in goal.split("|") for line in named), f"{name}: {[line['goal'] for line in named]}"
        assert all(line["met"] is not None for line in named if line["goal"])
        if group != "floor" and name not in BARE:
            assert all(line["ratio"] for line in named), f"{name} has nothing beside it"
    if group in ("traceability", "charts"):
        sizes = {line["frames"] for line in lines if line["frames"]}
        assert len(sizes) == 2  # few and many in one run
