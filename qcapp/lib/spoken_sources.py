"""What the code says to people of the office, read from the code: labels, and sentences with places for what they name.

The catalogues `labels` and `sentences` are compared with this, so that no label and no sentence is forgotten.
"""

from __future__ import annotations

import ast
import itertools
import re
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

from django.conf import settings

from .worded import WORD

# Spoken to programs and to the keeper at the shell, or only to the demonstration.
FORMS = re.compile(r"(^|[/_])forms\.py$")
# Read whole, because what they say has no full stop: a line of what happened, a check, limits in words.
READ_WHOLE = frozenset(
    """
    certificates/as_built_checks.py certificates/lot_queries.py certificates/release_checks.py config/health/watched.py
    core/checkpoints/count.py core/checkpoints/record.py core/materials/composition.py core/materials/strength.py
    core/materials/weldability.py
    goods/checking.py goods/holding_views.py goods/queries/__init__.py goods/services/lots.py goods/views.py
    history/lines.py history/pictures.py
    improvement/cards.py improvement/queries/actions.py improvement/queries/effect.py improvement/queries/field.py
    improvement/services/leading.py improvement/services/opening.py improvement/services/reminding.py
    improvement/words.py inspections/queries/outliers.py inspections/queries/timeline.py nonconformance/announcing.py
    nonconformance/cards.py nonconformance/queries/queue.py nonconformance/queue_views.py nonconformance/waiting.py
    plans/calculators/fit_pair.py plans/calculators/leaks.py plans/calculators/lots.py plans/calculators/parts.py
    plans/calculators/weld_limits.py plans/comparison.py plans/draft_table.py plans/review_list.py
    trends/capability.py trends/characteristic.py trends/control.py trends/gauging.py trends/watch.py trends/words.py
    """.split()  # noqa: SIM905 - a list of names reads better
)
NOT_OF_THE_OFFICE = ("api", "config", "core", "capture", "lib/fields", "lib/guard", "lib/write_once")
SPOKEN_ALL_THE_SAME = (
    "config/context.py",
    "config/health",
    "config/retention",
    "core/checkpoints",
    "core/findings.py",
    "core/identification.py",
    "core/materials",
    "core/metrology/quantities.py",
    "core/statistics/switching.py",
    "core/workflow.py",
)
CODES = ("audit/verbs.py",)  # the names of acts in the audit, the same in every language
LABELS = frozenset({"label", "help_text", "empty_label", "placeholder", "aria-label", "title", "lead"})
REFUSALS = frozenset({"Refused", "NotAllowed", "Invalid", "NotFound", "Conflict", "Throttled", "QcError"})
TABLES = re.compile(r"_?([A-Z]+_)*(WORDS|LABELS|TITLES|NAMES|SENTENCES|KINDS|CHOICES|REASONS|MENU|TEXTS)")
ENUMS = re.compile(r"\b(StrEnum|TextChoices)\b")
A_LABEL = re.compile(r"[A-Z][a-z]*( |$)")
NAMED = re.compile(r"{[a-z_]+}")
PLACE = re.compile(r"{\d}")
ENDED = re.compile(r"[.?!](?:{\d})*$")
OF_MACHINES = re.compile(r"[<>=_\[]|\bSELECT\b|%\(|^[^\w{“…]")


@cache
def labels() -> dict[str, list[str]]:
    """Every label, help text, choice and word for a state or a kind, with the modules that have it."""
    return _found(_labels_in)


@cache
def sentences() -> dict[str, list[str]]:
    """Every refusal, note and message, `{0}` … for what it names, with the modules that say it."""
    known = labels()
    return {text: places for text, places in _found(_sentences_in).items() if text not in known}


def _found(read: Callable[[str, ast.AST], Iterator[str]]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    root = Path(settings.BASE_DIR) / "qcapp"
    for file in sorted(root.rglob("*.py")):
        name = file.relative_to(root).as_posix()
        if _of_the_office(name):
            for text in read(name, ast.parse(file.read_text(encoding="utf-8"))):
                if WORD.search(text):
                    found.setdefault(text, []).append(name)
    return found


def _of_the_office(name: str) -> bool:
    if name in CODES:
        return False
    if name.startswith(SPOKEN_ALL_THE_SAME):
        return True
    return not name.startswith(NOT_OF_THE_OFFICE) and not re.search(r"/(management|migrations)/", name)


def form_of(node: ast.expr) -> str | None:
    """A text, or an f-string or a form with names, its places numbered; None for anything else."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        named = dict.fromkeys(NAMED.findall(node.value))
        return NAMED.sub(lambda name: f"{{{list(named).index(name[0])}}}", node.value)
    if not isinstance(node, ast.JoinedStr):
        return None
    places = itertools.count()
    return "".join(str(part.value) if isinstance(part, ast.Constant) else f"{{{next(places)}}}" for part in node.values)


def _labels_in(name: str, tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.keyword) and node.arg in LABELS:
            yield from _texts(node.value)
        elif isinstance(node, ast.keyword) and node.arg == "choices":
            yield from _second_of_each(node.value)
        elif isinstance(node, ast.Dict):
            pairs = zip(node.keys, node.values, strict=True)
            named = (value for key, value in pairs if isinstance(key, ast.Constant) and key.value in LABELS)
            yield from (text for value in named for text in _texts(value))
        elif isinstance(node, ast.ClassDef) and any(ENUMS.search(ast.unparse(base)) for base in node.bases):
            yield from _members(node)
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            yield from _table(node)


def _texts(node: ast.expr) -> Iterator[str]:
    """The texts that an expression may be: one, or either of a condition."""
    if isinstance(node, ast.IfExp):
        yield from [*_texts(node.body), *_texts(node.orelse)]
    elif (text := form_of(node)) is not None:
        yield text


def _second_of_each(node: ast.expr) -> Iterator[str]:
    for pair in ast.walk(node):
        if isinstance(pair, ast.Tuple) and len(pair.elts) == 2:
            yield from _texts(pair.elts[1])


def _members(node: ast.ClassDef) -> Iterator[str]:
    """The words of an enumeration's members: the label that stands beside the value, else the value as words."""
    for member in node.body:
        if isinstance(member, ast.Assign) and isinstance(member.value, ast.Tuple):
            yield from _texts(member.value.elts[-1])
        elif isinstance(member, ast.Assign):
            yield from (text.replace("_", " ") for text in _texts(member.value))


def _table(node: ast.Assign | ast.AnnAssign) -> Iterator[str]:
    target = node.targets[0] if isinstance(node, ast.Assign) else node.target
    if not isinstance(target, ast.Name) or not TABLES.fullmatch(target.id):
        return
    if isinstance(node.value, ast.Dict):
        yield from (text for value in node.value.values for text in _texts(value))
    elif isinstance(node.value, ast.Tuple | ast.List):
        for entry in node.value.elts:
            yield from _second_of_each(entry) if len(getattr(entry, "elts", [])) == 2 else _first(entry)


def _first(entry: ast.expr) -> Iterator[str]:
    if isinstance(entry, ast.Tuple) and entry.elts:
        yield from _texts(entry.elts[0])


def _sentences_in(name: str, tree: ast.AST) -> Iterator[str]:
    silent = set(_not_spoken(tree))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant | ast.JoinedStr) and id(node) not in silent:
            text = form_of(node) or ""
            if not OF_MACHINES.search(text) and _is_spoken(name, text) and not _is_too_general(text):
                yield text
        if isinstance(node, ast.JoinedStr):
            yield from (text for text in _either_of(node) if not OF_MACHINES.search(text))


def _either_of(node: ast.JoinedStr) -> Iterator[str]:
    """The words that a sentence has one way or the other, such as "is" and "are"; endings are left out."""
    for part in node.values:
        if isinstance(part, ast.FormattedValue) and isinstance(part.value, ast.IfExp):
            yield from (text for text in _texts(part.value) if len(text) > 1 and text == text.strip())


def _is_spoken(name: str, text: str) -> bool:
    """A whole sentence; in a module of forms and in those read whole a label and anything of more than one word."""
    if ENDED.search(text) and " " in text.strip():
        return True
    return (name in READ_WHOLE or bool(FORMS.search(name))) and (" " in text.strip() or bool(A_LABEL.match(text)))


def _is_too_general(text: str) -> bool:
    """True for a form such as "{0} is {1}.", which would fit sentences that mean something else."""
    parts = PLACE.split(text)
    return len(parts) > 1 and len(parts[0]) < 4 and max(map(len, parts)) < 7 and sum(map(len, parts)) < 10


def _not_spoken(tree: ast.AST) -> Iterator[int]:
    """Docstrings, and the parts of an f-string, which are read with the whole."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            yield id(node.value)
        elif isinstance(node, ast.JoinedStr):
            yield from (id(part) for part in node.values)
