"""`manage.py limits`, `judge` and `sample`: what they print, where it comes from, and what they refuse."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

REPOSITORY = Path(__file__).resolve().parents[2]


@pytest.fixture
def printed(capsys: pytest.CaptureFixture[str]):
    """`printed("limits", "30 H7")`: the facts that the command printed, by name; "" is the heading."""

    def run(*command: str) -> dict[str, str]:
        call_command(*command)
        heading, *lines = capsys.readouterr().out.rstrip("\n").split("\n")
        facts = dict(line.strip().split("  ", 1) for line in lines)
        return {"": heading} | {name: text.strip() for name, text in facts.items()}

    return run


@pytest.mark.parametrize(
    ("asked", "lower", "upper", "source"),
    [
        ("30 H7", "30.000 mm", "30.021 mm", "ISO 286-1:2010, Table 1"),
        ("25 g6", "24.980 mm", "24.993 mm", "ISO 286-1:2010, Tables 1, 4 and 5"),
        ("400 ISO 13920-B", "398 mm", "402 mm", "ISO 13920:2023 (numbers as in 1996), Table 1"),
        ("400 ISO 2768-m", "399.5 mm", "400.5 mm", "ISO 2768-1:1989, Table 1"),
        ("ISO 13920-F flatness 640", "0 mm", "3 mm", "ISO 13920:2023 (numbers as in 1996), Table 3"),
        ("max 0.5", "none", "0.5 mm", "as drawn"),
    ],
)
def test_prints_limits_with_their_source(printed, asked: str, lower: str, upper: str, source: str) -> None:
    """Numbers as in tests/vectors/fits.json and general_tolerances.json, which name their sources."""
    facts = printed("limits", asked)
    assert facts[""] == asked
    assert (facts["lower limit"], facts["upper limit"], facts["from"]) == (lower, upper, source)


def test_prints_what_was_converted(printed) -> None:
    facts = printed("limits", "1.25 H7", "--unit", "in")
    assert facts["upper limit"] == "1.250984 in"
    assert "cut to 0.000001 in, inwards" in facts["note"]


@pytest.mark.parametrize(
    ("arguments", "verdict"),
    [
        ((), "in band"),
        (("--uncertainty", "0.012"), "near limit"),
        (("--uncertainty", "0.009"), "in band"),
    ],
)
def test_prints_the_verdict_its_rule_and_the_source_of_the_limits(printed, arguments: tuple, verdict: str) -> None:
    """25.4 H7 is 25.400 to 25.421 (ISO 286-1:2010 Table 1); guard band w = U (ISO 14253-1, from memory)."""
    facts = printed("judge", "25.412", "--nominal", "25.4", "--notation", "H7", *arguments)
    assert facts["verdict"] == verdict
    assert ("ISO 14253-1" in facts["rule"]) == bool(arguments)
    assert facts["from"] == "ISO 286-1:2010, Table 1"


def test_prints_how_far_out_of_band_a_value_is(printed) -> None:
    facts = printed("judge", "-0.3", "--nominal", "0", "--notation", "±0.2")
    assert facts["because"] == "-0.3 mm is out of band: 0.1 mm below the lower limit."


def test_prints_the_sampling_plan_with_its_table_and_its_worth(printed) -> None:
    """MIL-STD-105E Table II-A: code letter F at AQL 1.0 leads to E, 13 pieces, none nonconforming."""
    facts = printed("sample", "--lot", "100", "--aql", "1.0", "--level", "II")
    assert facts[""] == "Check 13 of 100, level II, AQL 1.0, normal inspection"
    assert (facts["accept up to"], facts["reject from"], facts["code letter"]) == ("0", "1", "E")
    assert facts["from"] == "MIL-STD-105E:1989 Table II-A"
    assert facts["accepted 50 %"] == "at 5.19 % nonconforming (binomial)"
    assert printed("sample", "--lot", "100", "--aql", "1.0", "--severity", "tightened")["from"].endswith("Table II-B")


@pytest.mark.parametrize(
    ("command", "code"),
    [
        (("limits", "30 Q7"), "class_unknown"),
        (("limits", "30"), "notation_missing"),
        (("limits", "900 g6"), "size_outside_table"),
        (("limits", "30 H7", "--unit", "kg"), "unit_mismatch"),
        (("judge", "twelve", "--notation", "max 3"), "value_not_a_number"),
        (("judge", "25.412", "--notation", "H7"), "nominal_missing"),
        (("judge", "2", "--notation", "max 3", "--uncertainty=-0.1"), "uncertainty_negative"),
        (("sample", "--lot", "1", "--aql", "1.0"), "lot_too_small"),
        (("sample", "--lot", "100", "--aql", "1.1"), "unknown_aql"),
        (("sample", "--lot", "100", "--aql", "1.0", "--level", "IV"), "unknown_inspection_level"),
        (("sample", "--lot", "100", "--aql", "1.0", "--severity", "strict"), "unknown_severity"),
    ],
)
def test_refuses_in_a_sentence_and_prints_nothing_else(
    command: tuple[str, ...], code: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(CommandError, match=rf"\({code}\)$"):
        call_command(*command)
    assert capsys.readouterr().out == ""


def test_ends_with_status_1_when_it_refuses_and_needs_no_database(tmp_path: Path) -> None:
    def run(text: str) -> subprocess.CompletedProcess[str]:
        environment = {"PATH": "/usr/bin:/bin", "QCAPP_DATA_DIR": str(tmp_path), "QCAPP_DEBUG": "yes"}
        command = [sys.executable, str(REPOSITORY / "manage.py"), "limits", text]
        return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)

    refused, answered = run("30 Q7"), run("30 H7")
    assert (refused.returncode, refused.stdout) == (1, "")
    assert "is not a class of the tables here" in refused.stderr
    assert answered.returncode == 0
    assert "30.021 mm" in answered.stdout
    assert not list(tmp_path.glob("*.sqlite3"))
