"""How each number is computed, as docs/numbers.md has it: the words with which the core's modules begin."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Iterator
from pathlib import Path

CORE = Path(__file__).resolve().parents[2] / "core"
PARTS = (
    ("metrology", "Measuring and judging"),
    ("statistics", "Statistics"),
    ("materials", "Materials"),
    ("checkpoints", "Checkpoints"),
)
HEAD = """# How each number is computed

Drawn by `manage.py write_documents` from the modules below `qcapp/core`, where all computing is done: no page
computes a number of its own. Each module says what it computes, by which formula and from which source; below it
stand its public functions. What is marked *common practice, no source* is the trade's habit. The worked numbers that
hold each of them are in `tests/vectors`, with their sources. Values that somebody typed are decimal numbers from end
to end; binary fractions serve statistics and drawings alone.
"""


def numbers() -> str:
    """The whole document."""
    lines = [HEAD]
    for folder, title in PARTS:
        lines.append(f"## {title}\n")
        for file in sorted((CORE / folder).glob("*.py")):
            lines += _module(file)
    return "\n".join(lines)


def _module(file: Path) -> Iterator[str]:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    said = ast.get_docstring(tree)
    functions = list(_functions(tree))
    if not said or not functions:
        return
    yield f"### {file.stem.replace('_', ' ')} (`qcapp/core/{file.parent.name}/{file.name}`)\n"
    yield f"{_plain(said)}\n"
    for name, first in functions:
        yield f"- `{name}`: {first}"
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
