"""The tablet's verdict.js and the server's Python answer every case alike, and both as the cases say."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections import Counter
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band
from qcapp.core.metrology.decision import Verdict, judge
from qcapp.core.metrology.quantities import as_text, parse_value, round_value
from tests.core.metrology.vectors import FOLDER, load
from tests.core.metrology.verdict_twin_cases import FILE, all_cases, as_file

HERE = Path(__file__).resolve().parent
MODULE = HERE.parents[2] / "static" / "js" / "verdict.js"
CASES: list[dict[str, Any]] = load(FILE)["cases"]


def run_node(cases: Path) -> list[dict[str, Any]]:
    node = shutil.which("node")
    if node is None:
        pytest.fail("node is not on the PATH: install Node.js 18 or later to run the tablet's half of this test")
    command = [node, str(HERE / "run_twin.mjs"), str(MODULE), str(cases)]
    done = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False)
    assert done.returncode == 0, done.stderr
    answers: list[dict[str, Any]] = json.loads(done.stdout)
    return answers


@pytest.fixture(scope="module")
def tablet() -> list[dict[str, Any]]:
    return run_node(FOLDER / FILE)


def parse(row: dict[str, Any]) -> dict[str, Any]:
    names = ("decimal_mark", "units", "max_digits")
    return {"value": as_text(parse_value(row["text"], **{name: row[name] for name in names if name in row}))}


def judge_row(row: dict[str, Any]) -> dict[str, Any]:
    uncertainty = row.get("expanded_uncertainty")
    value = parse_value(row["text"])
    judgement = judge(
        value,
        Band.from_json(row["band"]),
        rule=row.get("rule", "simple"),
        expanded_uncertainty=None if uncertainty is None else Decimal(uncertainty),
    )
    return {
        "verdict": str(judgement.verdict),
        "deviation": None if judgement.deviation is None else as_text(judgement.deviation),
        "excess": as_text(judgement.excess),
        "nearest_limit": judgement.nearest_limit,
    }


def compare(row: dict[str, Any]) -> dict[str, Any]:
    return {"order": int(Decimal(row["first"]).compare(Decimal(row["second"])))}


def round_row(row: dict[str, Any]) -> dict[str, Any]:
    return {"value": as_text(round_value(Decimal(row["value"]), Decimal(row["step"]), rule=row["rule"]))}


SERVER = {"parse": parse, "judge": judge_row, "compare": compare, "round": round_row}


def server_answer(row: dict[str, Any]) -> dict[str, Any]:
    try:
        return SERVER[row["do"]](row)
    except Invalid as refused:
        return {"code": refused.code, "message": refused.message}


def without_sentence(answer: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in answer.items() if name != "message"}


def test_the_server_answers_every_case_as_the_case_says() -> None:
    wrong = [(row, answer) for row in CASES if without_sentence(answer := server_answer(row)) != row["expect"]]
    assert wrong == []


def test_the_tablet_answers_every_case_as_the_case_says(tablet: list[dict[str, Any]]) -> None:
    pairs = list(zip(CASES, tablet, strict=True))
    assert [(row, answer) for row, answer in pairs if without_sentence(answer) != row["expect"]] == []


def test_both_agree_in_every_digit_and_every_sentence(tablet: list[dict[str, Any]]) -> None:
    pairs = [(row, server_answer(row), answer) for row, answer in zip(CASES, tablet, strict=True)]
    assert [different for different in pairs if different[1] != different[2]] == []


def test_the_file_is_what_the_generator_makes() -> None:
    assert (FOLDER / FILE).read_text(encoding="utf-8") == as_file(all_cases()), (
        "run python -m tests.core.metrology.verdict_twin_cases"
    )


def test_the_cases_reach_every_verdict_and_every_refusal() -> None:
    assert len(CASES) >= 2000
    verdicts = Counter(row["expect"]["verdict"] for row in CASES if "verdict" in row["expect"])
    assert min(verdicts[str(verdict)] for verdict in Verdict) >= 100
    codes = {row["expect"]["code"] for row in CASES if "code" in row["expect"]}
    written = {
        code
        for code in MODULE.read_text(encoding="utf-8").split('"')
        if code.startswith(("value_", "limit", "nominal_", "guard_", "natural_", "uncertainty_", "rule_"))
    }
    assert written - codes == {"value_not_text", "value_not_decimal"}  # text files cannot hold these


@pytest.mark.parametrize("text", ["", "12,5", "NaN", "1e5", "+1", " 1", "0x10", None, 25, 25.5])
def test_the_tablet_refuses_to_judge_what_it_did_not_read(text: Any, tmp_path: Path) -> None:
    cases = tmp_path / "cases.json"
    band = {"lower": "0", "upper": "50"}
    cases.write_text(json.dumps({"cases": [{"do": "judge_text", "text": text, "band": band}]}))
    assert run_node(cases)[0]["code"] == "value_not_decimal"


@pytest.mark.parametrize("value", [12.5, 12, None, True, ["12"]])
def test_the_tablet_refuses_a_value_that_is_not_text(value: Any, tmp_path: Path) -> None:
    cases = tmp_path / "cases.json"
    cases.write_text(json.dumps({"cases": [{"do": "parse", "text": value}]}))
    assert run_node(cases)[0]["code"] == "value_not_text"


def test_the_tablet_computes_with_whole_numbers_only() -> None:
    code = MODULE.read_text(encoding="utf-8")
    assert re.findall(r"parseFloat|parseInt|\bNumber\(|toFixed|Math\.(?!max)", code) == []
