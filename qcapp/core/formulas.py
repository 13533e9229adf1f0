"""Derived checkpoints: plain arithmetic over the values of other checkpoints.

The grammar: numbers, keys of checkpoints (snake_case), `+ - * /`, parentheses, and the functions `min max abs
mean sqrt sin cos tan atan2`. Angles are in degrees, in and out. There is no power, no comparison, no text, no
attribute.

    >>> evaluate("(left + right) / 2 - 0.5", {"left": Decimal("10.2"), "right": Decimal("10.4")})
    Decimal('9.8')

Decimals stay decimals through `+ - * / min max abs mean`; a root or an angle makes the result a float, which
the caller rounds before it meets a band. Additions and products of up to 60 digits are exact, quotients have
60 digits.
"""

from __future__ import annotations

import ast
import math
import re
import threading
from collections.abc import Callable, Iterator, Mapping
from decimal import (
    Context,
    Decimal,
    DecimalException,
    DivisionByZero,
    InvalidOperation,
    Overflow,
    localcontext,
)
from functools import lru_cache
from graphlib import CycleError, TopologicalSorter

from simpleeval import SimpleEval

from qcapp.core.errors import Invalid
from qcapp.core.findings import Finding

MAX_LENGTH = 500
MAX_DEPTH = 100
KEY = re.compile(r"[a-z][a-z0-9_]{0,59}")
NUMBER = re.compile(r"[0-9]{1,18}(\.[0-9]{1,18})?")

_SIGNS = re.compile(r"[A-Za-z0-9_+*/(),. -]*")
_COMMA_IN_NUMBER = re.compile(r"[0-9],[0-9]")  # max(0,5) means one value to one reader and two to another

_SIGNS = re.compile(r"[A-Za-z0-9_+*/(),. -]*")
_COMMA_IN_NUMBER = re.compile(r"[0-9],[0-9]")  # max(0,5) means one value to one reader and two to another

Number = Decimal | float

_EXACT = Context(prec=60, traps=[DivisionByZero, InvalidOperation, Overflow])


class _OutsideDomain(ArithmeticError):
    """A function was asked where it has no value; the text says what to do."""


# ---------------------------------------------------------------------------------------------- arithmetic


def _joined(operation: Callable[[Number, Number], Number]) -> Callable[[Number, Number], Number]:
    """The operation on two decimals, or on two floats as soon as one of them is a float."""

    def apply(a: Number, b: Number) -> Number:
        if isinstance(a, float) or isinstance(b, float):
            return operation(float(a), float(b))
        return operation(a, b)

    return apply


def _all_alike(values: tuple[Number, ...]) -> tuple[Number, ...]:
    return tuple(map(float, values)) if any(isinstance(v, float) for v in values) else values


def _divide(a: Number, b: Number) -> Number:
    if b == 0:  # also for zero by zero, which Decimal calls something else
        raise ZeroDivisionError
    return a / b  # type: ignore[operator]  # _joined made them alike


def _mean(*values: Number) -> Number:
    if any(isinstance(v, float) for v in values):
        return math.fsum(values) / len(values)
    return sum(map(Decimal, values), Decimal(0)) / len(values)


def _sqrt(value: Number) -> float:
    if value < 0:
        raise _OutsideDomain("the root of a negative number; check the values under sqrt")
    return math.sqrt(value)


def _tan(angle: Number) -> float:
    if abs(float(angle)) % 180 == 90:
        raise _OutsideDomain("the tangent of a right angle; check the angle under tan")
    return math.tan(math.radians(angle))


FUNCTIONS: dict[str, Callable[..., Number]] = {
    "min": lambda *values: min(_all_alike(values)),
    "max": lambda *values: max(_all_alike(values)),
    "mean": _mean,
    "abs": lambda value: abs(value),
    "sqrt": _sqrt,
    "sin": lambda angle: math.sin(math.radians(angle)),
    "cos": lambda angle: math.cos(math.radians(angle)),
    "tan": _tan,
    "atan2": lambda y, x: math.degrees(math.atan2(y, x)),
}
ARITY = {"abs": 1, "sqrt": 1, "sin": 1, "cos": 1, "tan": 1, "atan2": 2}  # the others take one value or more

_OPERATORS: dict[type[ast.AST], Callable[..., Number]] = {
    ast.Add: _joined(lambda a, b: a + b),  # type: ignore[operator]  # _joined made them alike
    ast.Sub: _joined(lambda a, b: a - b),  # type: ignore[operator]
    ast.Mult: _joined(lambda a, b: a * b),  # type: ignore[operator]
    ast.Div: _joined(_divide),
    ast.USub: lambda a: -a,
    ast.UAdd: lambda a: a,
}


class _Evaluator(threading.local):
    """One evaluator a thread: making one changes the warning filters of the whole process for a moment."""

    def __init__(self) -> None:
        self.evaluator = SimpleEval(operators=_OPERATORS, functions=FUNCTIONS, names={})


_THREAD = _Evaluator()


# ------------------------------------------------------------------------------------------------- reading


def _refuse(message: str) -> Invalid:
    return Invalid("formula_syntax", message)


@lru_cache(maxsize=1024)
def parse(expression: str) -> ast.expr:
    """The tree of the expression, its numbers as Decimal; never to be changed. Raises `formula_syntax`."""
    text = expression.strip()
    if not text:
        raise _refuse("The formula is empty; write an expression such as (left + right) / 2.")
    if len(text) > MAX_LENGTH:
        raise _refuse(f"The formula is longer than {MAX_LENGTH} characters; split it into several checkpoints.")
    if not _SIGNS.fullmatch(text):
        raise _refuse("The formula holds a sign outside plain arithmetic; use letters, digits and + - * / ( ).")
    if _COMMA_IN_NUMBER.search(text):
        raise _refuse("Write 0.5 with a point; between two values put a space after the comma.")
    try:
        tree = ast.parse(text, mode="eval").body
    except (SyntaxError, ValueError, MemoryError, RecursionError):
        raise _refuse("The formula cannot be read; check its parentheses, commas and signs.") from None
    _admit(tree, text)
    return tree


def _admit(tree: ast.expr, text: str) -> None:
    """Refuse what is outside the grammar, level by level, so that a deep tree is met before any recursion."""
    level: list[ast.AST] = [tree]
    for _ in range(MAX_DEPTH):
        for node in level:
            _admit_node(node, text)
        level = [child for node in level for child in operands(node)]
        if not level:
            return
    raise _refuse(f"The formula is nested deeper than {MAX_DEPTH} levels; split it into several checkpoints.")


def operands(node: ast.AST) -> list[ast.expr]:
    """What a node of such a tree computes with, from left to right."""
    match node:
        case ast.BinOp(left=left, right=right):
            return [left, right]
        case ast.UnaryOp(operand=operand):
            return [operand]
        case ast.Call(args=args):
            return args
        case _:
            return []


def _admit_node(node: ast.AST, text: str) -> None:
    match node:
        case ast.BinOp(op=ast.Pow()):
            raise _refuse("There is no power in formulas; write a * a.")
        case ast.BinOp(op=operator) | ast.UnaryOp(op=operator) if type(operator) in _OPERATORS:
            return
        case ast.Constant():
            node.value = _decimal(  # type: ignore[assignment]  # the exact number instead of a float
                ast.get_source_segment(text, node) or ""
            )
        case ast.Call(func=ast.Name(id=name), args=args, keywords=[]):
            _admit_call(name, args)
        case ast.Name(id=name) if name in FUNCTIONS:
            raise _refuse(f"{name} is a function; write it with its values, {name}(…).")
        case ast.Name(id=name) if KEY.fullmatch(name):
            return
        case ast.Name(id=name):
            raise _refuse(f"“{name}” is not a key; keys are small letters, digits and underscores.")
        case _:
            part = ast.get_source_segment(text, node) or type(node).__name__
            raise _refuse(f"“{part}” is not plain arithmetic; use + - * / and {', '.join(FUNCTIONS)}.")


def _admit_call(name: str, args: list[ast.expr]) -> None:
    if name not in FUNCTIONS:
        raise _refuse(f"There is no function “{name}”; there are {', '.join(FUNCTIONS)}.")
    wanted = ARITY.get(name)
    if wanted is not None and len(args) != wanted:
        raise _refuse(f"{name} takes {wanted} value{'s' if wanted > 1 else ''}, not {len(args)}.")
    if not args:
        raise _refuse(f"{name} needs at least one value.")


def _decimal(literal: str) -> Decimal:
    if not NUMBER.fullmatch(literal):
        raise _refuse(f"“{literal}” is not a plain number; write it like 12 or 0.35, without an exponent.")
    return Decimal(literal)


def _names(tree: ast.expr) -> list[str]:
    """Keys in the tree, each once, in reading order."""
    return list(dict.fromkeys(node.id for node in walk(tree) if isinstance(node, ast.Name)))


def walk(tree: ast.expr) -> Iterator[ast.expr]:
    """Every node of such a tree, the tree itself first."""
    yield tree
    for operand in operands(tree):
        yield from walk(operand)


# ------------------------------------------------------------------------------------------------- calling


def references(expression: str) -> list[str]:
    """Keys of the checkpoints that the expression reads, each once. Raises Invalid `formula_syntax`."""
    return list(_keys(expression))


@lru_cache(maxsize=1024)
def _keys(expression: str) -> tuple[str, ...]:
    return tuple(_names(parse(expression)))


def evaluate(expression: str, values: Mapping[str, Decimal]) -> Number:
    """The value of the expression: Decimal, or float after a root or an angle.

    Raises Invalid `formula_syntax`, `input_missing` (details: keys), `input_not_decimal`, `division_by_zero`,
    `outside_domain` or `value_too_large`.
    """
    tree, keys = parse(expression), _keys(expression)
    missing = [key for key in keys if key not in values]
    if missing:
        raise Invalid("input_missing", f"No value yet for {', '.join(missing)}; answer it first.", keys=missing)
    return _compute(tree, {key: _finite(key, values[key]) for key in keys})


def _finite(key: str, value: object) -> Decimal:
    if isinstance(value, bool) or not isinstance(value, Decimal | int) or not Decimal(value).is_finite():
        raise Invalid("input_not_decimal", f"The value of {key} is not a finite decimal number.", key=key)
    return Decimal(value)


def _compute(tree: ast.expr, values: Mapping[str, Decimal]) -> Number:
    evaluator = _THREAD.evaluator
    evaluator.names = values
    try:
        with localcontext(_EXACT):
            result: Number = evaluator.eval("", previously_parsed=tree)
    except ZeroDivisionError:  # decimal.DivisionByZero is one
        raise _zero_division() from None
    except _OutsideDomain as refusal:
        raise Invalid("outside_domain", f"The formula asks for {refusal}.") from None
    except (DecimalException, OverflowError):
        raise _too_large() from None
    if isinstance(result, float) and not math.isfinite(result):
        raise _too_large()
    return result


def _zero_division() -> Invalid:
    message = "The formula divides by zero; check its numbers and the values it reads."
    return Invalid("division_by_zero", message)


def _too_large() -> Invalid:
    return Invalid("value_too_large", "The formula gives a number too large to be a measurement; check its values.")


# --------------------------------------------------------------------------------------------- at plan time


def check(expressions: Mapping[str, str], known: set[str]) -> list[Finding]:
    """Everything that is wrong with the formulas of a plan, before any value is known.

    `expressions` maps the key of each derived checkpoint to its formula, `known` holds the keys of the other
    checkpoints that give a number. Codes: `formula_key`, `formula_syntax`, `unknown_name`, `self_reference`,
    `cycle`, and those of `evaluate` for parts without a reference, such as `division_by_zero`
    in `x / (2 - 2)`.
    """
    findings: list[Finding] = []
    graph: dict[str, list[str]] = {}
    for key, expression in expressions.items():
        try:
            tree = parse(expression)
        except Invalid as refusal:
            findings.append(Finding(refusal.code, refusal.message, key))
            continue
        graph[key] = [name for name in _names(tree) if name in expressions and name != key]
        findings += _check_key(key) + _check_names(key, tree, known | set(expressions)) + _check_constants(key, tree)
    return findings + _cycles(graph)


def _check_key(key: str) -> list[Finding]:
    if KEY.fullmatch(key) and key not in FUNCTIONS:
        return []
    return [Finding("formula_key", f"“{key}” cannot be a key; use small letters, digits and underscores.", key)]


def _check_names(key: str, tree: ast.expr, known: set[str]) -> list[Finding]:
    names = _names(tree)
    findings = [
        Finding("unknown_name", f"{key} reads “{name}”, which no checkpoint of the plan gives.", key)
        for name in names
        if name not in known
    ]
    if key in names:
        findings.append(Finding("self_reference", f"{key} reads its own value; take it out of its formula.", key))
    return findings


def _check_constants(key: str, tree: ast.expr) -> list[Finding]:
    """Failures that no value can heal, in the parts that read no checkpoint."""
    refusals = [refusal for node in walk(tree) if (refusal := _constant_failure(node))]
    return list(dict.fromkeys(Finding(r.code, f"{key}: {r.message}", key) for r in refusals))


def _constant_failure(node: ast.expr) -> Invalid | None:
    divisor = node.right if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div) else None
    try:
        if divisor and not _names(divisor) and _compute(divisor, {}) == 0:
            return _zero_division()
        if not _names(node):
            _compute(node, {})
    except Invalid as refusal:
        return refusal
    return None


def _cycles(graph: dict[str, list[str]]) -> list[Finding]:
    """One finding for each cycle, naming the way round; it is opened before the next one is sought."""
    findings = []
    while True:
        try:
            TopologicalSorter(graph).prepare()
        except CycleError as error:
            way = list(reversed(error.args[1]))
            findings.append(Finding("cycle", f"These formulas read each other: {' → '.join(way)}.", way[0]))
            graph = graph | {way[0]: [name for name in graph[way[0]] if name != way[1]]}
            continue
        return findings


def order(expressions: Mapping[str, str]) -> list[str]:
    """The keys, each formula after those it reads. Raises Invalid `formula_syntax` or `cycle`."""
    graph = {key: [n for n in references(text) if n in expressions] for key, text in expressions.items()}
    try:
        return list(TopologicalSorter(graph).static_order())
    except CycleError as error:
        way = " → ".join(reversed(error.args[1]))
        raise Invalid("cycle", f"These formulas read each other: {way}. Open the circle.") from None
