"""How each number is computed, as docs/numbers.md has it: the words with which the modules that compute begin."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Iterator
from pathlib import Path

ROOMS = Path(__file__).resolve().parents[2]
PARTS = (
    ("core/metrology", "Measuring and judging"),
    ("core/statistics", "Statistics"),
    ("core/materials", "Materials"),
    ("core/checkpoints", "Checkpoints"),
)
ALONE = ("core/formulas.py", "core/identification.py", "core/sealing.py")
# What rooms compute from records, by the core or a library: which readings go in is half of what a number means.
FROM_RECORDS = (
    "trends/control.py", "trends/watch.py", "trends/sampling.py", "trends/drift.py", "trends/splits.py",
    "trends/capability.py", "trends/pairs.py", "trends/yielding.py", "trends/gauging.py", "trends/believing.py",
    "trends/copied.py", "certificates/sections/statistics.py", "inspections/queries/outliers.py",
    "inspections/queries/trying.py", "inspections/queries/trying_capability.py", "gauges/budgets.py",
    "gauges/studying.py", "recall/queries.py", "goods/checking.py", "improvement/queries/effect.py",
    "improvement/services/costs.py",
)  # fmt: skip
HEAD = """# How each number is computed

Drawn by `manage.py write_documents` from the modules that compute: those below `qcapp/core`, which know nothing of the
database, and at the end those that say which records go in. No page computes a number of its own. Each module says what
it computes, by which formula and from which source; below it stand its public functions, and of tables the standard
that they are printed in. What is marked *common practice, no source* is the trade's habit. The worked numbers that hold
each of them are in `tests/vectors`, with their sources. Values that somebody typed are decimal numbers from end to end;
binary fractions serve statistics and drawings alone.
"""


def numbers() -> str:
    """The whole document."""
    lines = [HEAD]
    for folder, title in PARTS:
        lines.append(f"## {title}\n")
        for file in sorted((ROOMS / folder).glob("*.py")):
            lines += _module(file)
    for title, names in (("Formulas, serial numbers, seals", ALONE), ("From the records", FROM_RECORDS)):
        lines.append(f"## {title}\n")
        for name in names:
            lines += _module(ROOMS / name)
    return "\n".join(lines)


def _module(file: Path) -> Iterator[str]:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    said = ast.get_docstring(tree)
    if not said:
        return
    yield f"### {file.stem.replace('_', ' ')} (`qcapp/{file.relative_to(ROOMS)}`)\n"
    yield f"{_plain(said)}\n"
    functions = list(_functions(tree))
    for name, first in functions:
        yield f"- `{name}`: {first}"
    if functions:
        yield ""


def _functions(tree: ast.Module) -> Iterator[tuple[str, str]]:
    """Public functions with the first paragraph of what they say."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            said = ast.get_docstring(node)
            if said:
                yield node.name, " ".join(inspect.cleandoc(said).split("\n\n")[0].split())


def _plain(said: str) -> str:
    """The words without the examples, which run as tests."""
    return "\n\n".join(part for part in said.split("\n\n") if not part.lstrip().startswith(">>>"))
