"""How the calculating commands print an answer: a heading, then facts in two columns."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from qcapp.plans.calculators.sizes import Sized

Fact = tuple[str, str]


def lines(heading: str, facts: Iterable[Fact]) -> str:
    """The heading and the facts that say something, one on each line."""
    told = [(name, text) for name, text in facts if text]
    width = max((len(name) for name, _ in told), default=0)
    return "\n".join([heading, *(f"  {name:<{width}}  {text}" for name, text in told)])


def size_facts(answer: Sized) -> Iterator[Fact]:
    """The limits of a size with their source and remarks."""
    unit = answer.limits.unit_of_measure
    yield "lower limit", f"{answer.lower_text} {unit}".rstrip() if answer.lower_text else "none"
    yield "upper limit", f"{answer.upper_text} {unit}".rstrip() if answer.upper_text else "none"
    yield "deviations", answer.deviations_text
    yield "width", answer.width_text
    yield "from", answer.source
    for note in answer.limits.notes:
        yield "note", note
