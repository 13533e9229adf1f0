"""The benchmark's table and its registry, with tiny amounts; nothing here looks at how long anything takes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from qcapp.config.benchmarks import core, registry
from qcapp.config.benchmarks.registry import Effort, Measurement, alternate, benchmark
from qcapp.config.management.commands.benchmark import table
from qcapp.plans.plan_rules import Numbering, read_plan

TINY = ("--core", "--scale", "0.0005", "--repeats", "1")
FIELDS = {"group", "name", "value", "unit", "baseline", "ratio", "goal", "met", "against", "frames"}


@pytest.fixture
def own(monkeypatch: pytest.MonkeyPatch) -> None:
    """A registry of the test's own."""
    monkeypatch.setattr(registry, "_BENCHMARKS", {})


def ran(*arguments: str) -> str:
    out = StringIO()
    call_command("benchmark", *arguments, stdout=out)
    return out.getvalue()


def test_prints_every_goal_of_the_core_ratio_first() -> None:
    lines = ran(*TINY).splitlines()
    assert lines[0].split()[:2] == ["ratio", "goal"]
    told = [line for line in lines[1:] if "against:" not in line]
    assert [line.split("×")[0].strip().replace(".", "").isdigit() for line in told] == [True] * 5
    for goal in ("at least 200000 values/s", "within 10×", "within 3×", "under 200 ms"):
        assert any(goal in line for line in told)
    assert sum("against:" in line for line in lines) == 5


def test_writes_the_numbers_as_json(tmp_path: Path) -> None:
    file = tmp_path / "speed.json"
    assert "ratio" in ran(*TINY, "--json", str(file))
    written = json.loads(file.read_text(encoding="utf-8"))
    assert len(written["measurements"]) == 5
    for line in written["measurements"]:
        assert set(line) == FIELDS
        assert line["group"] == "core"
        assert line["value"] > 0
        assert line["ratio"] > 0
        assert isinstance(line["met"], bool)


def test_writes_json_alone_when_asked() -> None:
    document = json.loads(ran(*TINY, "--only", "judge", "--json", "-"))
    assert [line["name"] for line in document["measurements"]] == ["judge, one value at a time"]
    assert document["repeats"] == 1


@pytest.mark.parametrize(
    "arguments",
    [
        ("--core", "--only", "nothing"),
        ("--core", "--repeats", "0"),
        ("--core", "--scale", "0"),
        ("--charts", "--results", "-1"),
        ("--traceability", "--units", "500001"),
        ("--all", "--core"),
    ],
)
def test_refuses_what_measures_nothing(arguments: tuple[str, ...]) -> None:
    with pytest.raises(CommandError):
        ran(*arguments)


@pytest.mark.usefixtures("own")
def test_takes_benchmarks_by_group_and_name() -> None:
    @benchmark("shelf", name="first")
    def first(effort: Effort) -> Iterator[Measurement]:
        yield Measurement("first", effort.of(10), "pieces")

    assert [found.run for found in registry.of_groups(["shelf"])] == [first]
    assert list(registry.of_groups(["shelf"], "second")) == []
    assert list(registry.of_groups(["floor"])) == []
    with pytest.raises(ValueError, match="has a benchmark first already"):
        benchmark("shelf", name="first")(lambda effort: [])


def test_shows_a_measurement_without_baseline_or_goal() -> None:
    head, line = table([Measurement("plain", 12345.6, "rows/s")]).splitlines()
    assert head.startswith("ratio")
    assert line.split() == ["–", "plain", "12", "346", "rows/s", "–"]


def test_runs_both_sides_in_turn() -> None:
    order: list[str] = []
    medians = alternate(lambda: order.append("ours"), lambda: order.append("theirs"), 2)
    assert order == ["ours", "theirs"] * 3  # the first pair warms up
    assert len(medians) == 2


def test_scales_amounts_but_keeps_the_least() -> None:
    assert Effort(0.001).of(1_000_000) == 1000
    assert Effort(0.001).of(100, least=7) == 7


def test_reads_a_plan_that_has_every_kind_of_notation_and_no_finding() -> None:
    plan = read_plan(core.plan_text(160), gauge_kinds={"caliper"}, numbering=Numbering())
    assert plan.findings == ()
    assert len(plan.checkpoints) == 160
    assert len(plan.stages) == 9
