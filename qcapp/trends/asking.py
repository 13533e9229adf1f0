"""How a page or a program asks for a chart, and who sees splits by people."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING, cast

from qcapp.core.errors import Invalid
from qcapp.people.queries import may, reads_worker_charts
from qcapp.people.roles import Act

from .characteristic import Axis, Wanted
from .control import Within
from .sampling import GROUPS, SAMPLE_SIZE, USUAL_SAMPLES, Group

if TYPE_CHECKING:
    from qcapp.people.models import Person

USUAL = 100  # readings


def sees_people(person: Person, at: datetime) -> bool:
    """Splits by welder and inspector are about people: for those whom the site named, where they may see trends."""
    return may(person, Act.LOOK_AT_TRENDS, at) and reads_worker_charts(person)


def wanted_of(asked: Mapping[str, str]) -> Wanted:
    """How the page is asked for. Raises Invalid `choice_unknown`, `field_type`."""
    last, group = whole(asked, "last"), cast("Group", _one_of(asked, "group", tuple(GROUPS)))
    usual = None if last and group == "units" else USUAL_SAMPLES  # a window of so many answers was asked for
    return Wanted(
        last=last or USUAL,
        samples=whole(asked, "samples") or usual,
        base=whole(asked, "base"),
        limits=cast("Within", _one_of(asked, "limits", ("between", "within"))),
        group=group,
        size=whole(asked, "size") or SAMPLE_SIZE,
        axis=cast("Axis", _one_of(asked, "axis", ("order", "date"))),
        anew=_one_of(asked, "from", ("signed", "anew")) == "anew",
    )


def whole(asked: Mapping[str, str], name: str) -> int | None:
    """The whole number asked for, None when it was left out. Raises Invalid `field_type`."""
    typed = asked.get(name, "").strip()
    if not typed:
        return None
    if not (typed.isascii() and typed.isdigit() and len(typed) <= 4):
        raise Invalid("field_type", f"“{name}” must be a whole number.", field=name)
    return int(typed)


def _one_of(asked: Mapping[str, str], name: str, words: tuple[str, ...]) -> str:
    typed = asked.get(name, "") or words[0]
    if typed not in words:
        raise Invalid("choice_unknown", f"“{name}” is {' or '.join(words)}.", field=name)
    return typed
