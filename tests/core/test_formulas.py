"""Arithmetic of derived checkpoints, against Python's own fractions and published trail examples."""

from __future__ import annotations

import ast
import doctest
import json
import math
import threading
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core import formulas
from qcapp.core.errors import Invalid
from qcapp.core.formulas import FUNCTIONS, MAX_DEPTH, MAX_LENGTH, check, evaluate, order, references

VECTORS = json.loads((Path(__file__).parents[1] / "vectors" / "formulas.json").read_text("utf-8"))
VALUES = st.decimals(-10_000, 10_000, places=3, allow_nan=False)
KEYS = ["left", "right", "head_angle", "b2"]


def trees(leaves: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.recursive(
        leaves,
        lambda inner: st.one_of(
            st.builds("({} {} {})".format, inner, st.sampled_from("+-*/"), inner),
            st.builds("-{}".format, inner),
            st.builds("abs({})".format, inner),
            st.builds("{}({}, {})".format, st.sampled_from(["min", "max", "mean"]), inner, inner),
        ),
        max_leaves=6,
    )


EXPRESSIONS = trees(st.sampled_from(KEYS) | st.decimals(0, 100, places=2).map(lambda d: format(d, "f")))


def exact(expression: str, values: dict[str, Decimal]) -> Fraction:
    """The same expression in Python's fractions, which round nothing."""

    def value(node: ast.expr) -> Fraction:
        match node:
            case ast.Name(id=name):
                return Fraction(values[name])
            case ast.Constant():
                return Fraction(ast.get_source_segment(expression, node) or "")
            case ast.UnaryOp(operand=operand):
                return -value(operand)
            case ast.BinOp(left=left, op=op, right=right):
                a, b = value(left), value(right)
                if isinstance(op, ast.Div):
                    return a / b
                return a + b if isinstance(op, ast.Add) else a - b if isinstance(op, ast.Sub) else a * b
            case ast.Call(func=ast.Name(id=name), args=args):
                items = [value(arg) for arg in args]
                mean = sum(items, Fraction(0)) / len(items)
                return {"min": min(items), "max": max(items), "mean": mean, "abs": abs(items[0])}[name]
        raise AssertionError(ast.dump(node))

    return value(ast.parse(expression, mode="eval").body)


# ------------------------------------------------------------------------------------------------- values


@pytest.mark.parametrize("case", VECTORS["cases"], ids=lambda case: case["expression"])
def test_gives_the_value_of_each_worked_case(case: dict[str, object]) -> None:
    values = {key: Decimal(value) for key, value in case["values"].items()}  # type: ignore[attr-defined]
    result = evaluate(str(case["expression"]), values)
    if case["tolerance"] is None:
        assert isinstance(result, Decimal)
        assert result == Decimal(str(case["result"]))
    else:
        assert abs(float(result) - float(str(case["result"]))) <= float(str(case["tolerance"]))


@given(EXPRESSIONS, st.fixed_dictionaries(dict.fromkeys(KEYS, VALUES)))
def test_agrees_with_exact_fractions(expression: str, values: dict[str, Decimal]) -> None:
    try:
        wanted = exact(expression, values)
    except ZeroDivisionError:
        with pytest.raises(Invalid) as refusal:
            evaluate(expression, values)
        assert refusal.value.code == "division_by_zero"
        return
    result = evaluate(expression, values)
    assert isinstance(result, Decimal)
    if "/" in expression or "mean" in expression:
        assert abs(Fraction(result) - wanted) <= abs(wanted) * Fraction(1, 10**25) + Fraction(1, 10**25)
    else:
        assert Fraction(result) == wanted


def test_adds_tenths_exactly_where_binary_fractions_do_not() -> None:
    assert evaluate("a + 0.2", {"a": Decimal("0.1")}) == Decimal("0.3")
    assert evaluate("a * 3", {"a": Decimal("0.1")}) == Decimal("0.3")


def test_keeps_long_literals_exact() -> None:
    assert evaluate("a + 0.123456789012345678", {"a": Decimal(0)}) == Decimal("0.123456789012345678")


def test_becomes_a_float_only_through_roots_and_angles() -> None:
    values = {"a": Decimal("2.25"), "b": Decimal("0.1")}
    assert isinstance(evaluate("min(a, b) + mean(a, b) * abs(-a)", values), Decimal)
    for expression in (
        "sqrt(a)",
        "b + sin(a)",
        "max(sqrt(a), b)",
        "min(sqrt(a), b)",
        "mean(cos(a), b)",
        "tan(a) / a",
        "-atan2(a, b)",
    ):
        assert isinstance(evaluate(expression, values), float)


@given(st.decimals(-720, 720, places=2))
def test_takes_and_gives_degrees(angle: Decimal) -> None:
    values = {"a": angle}
    radians = float(angle) * math.pi / 180
    assert evaluate("sin(a)", values) == pytest.approx(math.sin(radians), abs=1e-12)
    assert evaluate("cos(a)", values) == pytest.approx(math.cos(radians), abs=1e-12)
    turned = evaluate("atan2(sin(a), cos(a))", values)
    assert math.isclose(math.remainder(float(turned) - float(angle), 360), 0, abs_tol=1e-9)


def test_has_a_root_of_zero() -> None:
    assert evaluate("sqrt(a)", {"a": Decimal("0.00")}) == 0


def test_reads_keys_in_their_order_once() -> None:
    assert references("b2 - mean(left, b2, right) / 2") == ["b2", "left", "right"]
    assert references("1 + 2") == []


def test_ignores_values_that_it_does_not_read() -> None:
    assert evaluate("a", {"a": Decimal(1), "b": Decimal("NaN")}) == 1


def test_takes_whole_numbers_as_values() -> None:
    assert evaluate("a / 4", {"a": 1}) == Decimal("0.25")  # type: ignore[dict-item]  # counts are whole numbers


def test_gives_each_thread_its_own_values() -> None:
    wrong: list[int] = []

    def work(number: int) -> None:
        values = {"a": Decimal(number), "b": Decimal(1)}
        wrong.extend(number for _ in range(200) if evaluate("a * b + a", values) != 2 * number)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


# ----------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize("expression", VECTORS["refused"])
def test_refuses_what_is_not_plain_arithmetic(expression: str) -> None:
    for call in (references, lambda text: evaluate(text, {"a": Decimal(1), "b": Decimal(1)})):
        with pytest.raises(Invalid) as refusal:
            call(expression)
        assert refusal.value.code == "formula_syntax"


def test_refuses_what_is_too_long_or_too_deep_before_working_on_it() -> None:
    for expression in (
        "a" * (MAX_LENGTH + 1),
        "-" * MAX_DEPTH + "a",
        "(" * 250 + "a" + ")" * 249,
        "abs(" * 90 + "a",
    ):
        with pytest.raises(Invalid) as refusal:
            references(expression)
        assert refusal.value.code == "formula_syntax"
    assert len(references("+".join(["a"] * MAX_DEPTH))) == 1
    assert references("a" * 60 + " " * (MAX_LENGTH - 62) + "+1") == ["a" * 60]
    assert references("(" * 150 + "a" + ")" * 150) == ["a"]


def test_says_how_to_write_a_decimal_comma() -> None:
    with pytest.raises(Invalid, match=r"Write 0\.5 with a point"):
        references("max(0,5)")


def test_says_how_to_write_a_power() -> None:
    with pytest.raises(Invalid, match=r"write a \* a"):
        references("a ** 2")


@pytest.mark.parametrize(
    ("expression", "values", "code"),
    [
        ("a + b", {"a": "1"}, "input_missing"),
        ("a", {"a": "NaN"}, "input_not_decimal"),
        ("a", {"a": "Infinity"}, "input_not_decimal"),
        ("1 / a", {"a": "0"}, "division_by_zero"),
        ("a / a", {"a": "0.00"}, "division_by_zero"),
        ("sqrt(a) / (sqrt(a) - 2)", {"a": "4"}, "division_by_zero"),
        ("sqrt(a)", {"a": "-0.01"}, "outside_domain"),
        ("tan(a)", {"a": "90"}, "outside_domain"),
        ("tan(a)", {"a": "-270"}, "outside_domain"),
        ("a * a * a * a", {"a": "1E+300000"}, "value_too_large"),
        ("sqrt(a) * sqrt(a) * sqrt(a) * sqrt(a)", {"a": "1E+300"}, "value_too_large"),
        ("a * sqrt(2)", {"a": "1E+400"}, "value_too_large"),
    ],
)
def test_refuses_values_it_cannot_compute_with(expression: str, values: dict[str, str], code: str) -> None:
    with pytest.raises(Invalid) as refusal:
        evaluate(expression, {key: Decimal(value) for key, value in values.items()})
    assert refusal.value.code == code


@pytest.mark.parametrize("value", [1.5, True, "1", None])
def test_refuses_a_value_that_is_no_decimal(value: object) -> None:
    with pytest.raises(Invalid) as refusal:
        evaluate("a", {"a": value})  # type: ignore[dict-item]  # the mistake it is to catch
    assert (refusal.value.code, refusal.value.details["key"]) == ("input_not_decimal", "a")


def test_names_every_missing_input() -> None:
    with pytest.raises(Invalid) as refusal:
        evaluate("a + b * c", {"b": Decimal(1)})
    assert refusal.value.details["keys"] == ["a", "c"]


CODES = {"formula_syntax", "input_missing", "division_by_zero", "outside_domain", "value_too_large"}


def answer_or_code(expression: str, values: dict[str, Decimal]) -> Decimal | float | str:
    try:
        return evaluate(expression, values)
    except Invalid as refusal:
        return refusal.code


@given(st.text(max_size=40))
def test_meets_any_text_with_a_value_or_a_refusal(text: str) -> None:
    answer = answer_or_code(text, {})
    assert answer in CODES or not isinstance(answer, str)


@given(st.lists(st.sampled_from(["a", "1", "+", "-", "*", "/", "(", ")", ",", " ", ".", *FUNCTIONS]), max_size=14))
def test_meets_any_mix_of_its_own_signs_with_a_value_or_a_refusal(parts: list[str]) -> None:
    answer = answer_or_code("".join(parts), {"a": Decimal("1.5")})
    assert answer in CODES if isinstance(answer, str) else math.isfinite(answer)


# ------------------------------------------------------------------------------------------ at plan time


def codes(expressions: dict[str, str], known: set[str] = frozenset()) -> list[tuple[str, str]]:  # type: ignore[assignment]
    return [(finding.code, finding.place) for finding in check(expressions, known)]


def test_finds_nothing_in_sound_formulas() -> None:
    assert codes({"spread": "max(a, b) - min(a, b)", "half": "spread / 2"}, {"a", "b"}) == []


def test_finds_unknown_names() -> None:
    assert codes({"x": "a + c + d"}, {"a"}) == [("unknown_name", "x"), ("unknown_name", "x")]
    assert "“c”" in check({"x": "a + c"}, {"a"})[0].message


def test_finds_a_formula_that_reads_itself() -> None:
    assert codes({"x": "x + 1"}) == [("self_reference", "x")]


def test_finds_each_cycle_and_names_the_way_round() -> None:
    findings = check({"x": "y", "y": "z + 1", "z": "x", "p": "q", "q": "p", "free": "x"}, set())
    assert [finding.code for finding in findings] == ["cycle", "cycle"]
    ways = [finding.message for finding in findings]
    assert any(all(name in way for name in "xyz") for way in ways)
    assert any("p → q → p" in way or "q → p → q" in way for way in ways)


@given(st.dictionaries(st.sampled_from("abcdef"), st.lists(st.sampled_from("abcdef"), max_size=3), max_size=6))
def test_orders_formulas_or_finds_why_not(links: dict[str, list[str]]) -> None:
    expressions = {key: " + ".join(names or ["1"]) for key, names in links.items()}
    stuck = {finding.code for finding in check(expressions, set("abcdef"))}
    assert stuck <= {"cycle", "self_reference"}
    if stuck:
        with pytest.raises(Invalid) as refusal:
            order(expressions)
        assert refusal.value.code == "cycle"
        return
    sequence = order(expressions)
    assert sorted(sequence) == sorted(expressions)
    for key, names in links.items():
        assert all(sequence.index(name) < sequence.index(key) for name in names if name in links)


def test_finds_formulas_that_cannot_be_read_and_goes_on() -> None:
    assert codes({"x": "a +", "y": "b"}, {"a"}) == [("formula_syntax", "x"), ("unknown_name", "y")]


@pytest.mark.parametrize("key", ["mean", "Spread", "2nd", "", "a-b", "x" * 61])
def test_finds_keys_that_no_formula_could_name(key: str) -> None:
    assert codes({key: "a"}, {"a"}) == [("formula_key", key)]


@pytest.mark.parametrize(
    ("expression", "code"),
    [
        ("a / 0", "division_by_zero"),
        ("a / (2 - 2)", "division_by_zero"),
        ("a + 1 / (0.5 - 0.5)", "division_by_zero"),
        ("a / sin(0)", "division_by_zero"),
        ("a * sqrt(1 - 2)", "outside_domain"),
        ("a + tan(90)", "outside_domain"),
    ],
)
def test_finds_what_no_value_can_heal(expression: str, code: str) -> None:
    assert codes({"x": expression}, {"a"}) == [(code, "x")]


def test_holds_what_its_docstring_shows() -> None:
    shown = doctest.testmod(formulas)
    assert (shown.failed, shown.attempted > 0) == (0, True)
