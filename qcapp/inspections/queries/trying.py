"""What a draft's limits would have said about recorded values, and which units were inspected to which revision.

Read only: nothing that was recorded changes, and no verdict of a unit does.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from qcapp.core.checkpoints.kinds import kind, passes
from qcapp.core.errors import Invalid
from qcapp.plans.queries import CheckpointCard
from qcapp.plans.queries.specified import specs_of

from ..models import Adoption, Result
from .loading import _plain
from .secrets import Place, kept_secret

if TYPE_CHECKING:
    from qcapp.people.models import Person

COLUMNS = (
    "item_id", "checkpoint_id", "round", "characteristic_id", "checkpoint__kind", "answer", "expanded_uncertainty",
    "outcome", "nearest_limit", "inspection",
)  # fmt: skip
WORST = {"out_of_band": 2, "does_not_conform": 2, "near_limit": 1}


@dataclass(frozen=True)
class OtherVerdict:
    """One recorded answer on which the draft's limits would have another verdict."""

    serial: str
    number: int
    key: str
    title: str
    described: str
    before: str
    after: str
    limits: str
    inspection: int
    nearest_before: str
    nearest_after: str
    spec: Any = None  # what the draft specifies, and what the recorded answer was judged by
    spec_before: Any = None

    @property
    def worse(self) -> bool:
        return WORST.get(self.after, 0) > WORST.get(self.before, 0)


@dataclass(frozen=True)
class Tried:
    """The draft held against the last units: how many values were judged again, and what came out differently."""

    units: tuple[str, ...]
    judged: int
    others: tuple[OtherVerdict, ...]

    @property
    def fall_out(self) -> int:
        """Values that pass as recorded and would not pass."""
        return sum(passes(one.before) and not passes(one.after) for one in self.others)

    @property
    def units_changed(self) -> int:
        return len({one.serial for one in self.others})

    @property
    def by_checkpoint(self) -> list[tuple[int, str, int]]:
        """Number, title and how many verdicts change, most first."""
        counts = Counter((one.number, one.title) for one in self.others)
        return [(number, title, count) for (number, title), count in counts.most_common()]


def tried_on(family_id: int, cards: Sequence[CheckpointCard], units: int, *, viewer: Person | None = None) -> Tried:
    """The counting answers of the family's last `units` units, judged by these checkpoints' limits.

    An answer is compared under the characteristic that both have; one of another kind is left out. The verdict is
    computed with the uncertainty that the recorded one was computed with. First answers that the viewer, who may
    still owe the second inspection, must not see are left out.
    """
    items = _last_items(family_id, units)
    by_characteristic = {card.characteristic_id: card for card in cards if card.characteristic_id}
    judged = 0
    others: list[tuple[Place, OtherVerdict]] = []
    rows = Result.objects.filter(item__in=items, current_for__isnull=False, characteristic__in=by_characteristic)
    rows = rows.exclude(purpose=Result.Purpose.CARRIED)
    for row in _plain(rows.order_by("id"), COLUMNS):
        item, checkpoint, turn, characteristic, recorded_as, answer, uncertainty, outcome, *_ = row
        card = by_characteristic[characteristic]
        after = _judge(card, recorded_as, answer, uncertainty)
        if after is None:
            continue
        judged += 1
        if after[0] != outcome:
            others.append(((item, checkpoint, turn), _other(items[item], card, row[7:], after)))
    secret = kept_secret((place for place, _ in others), viewer=viewer)
    shown = sorted(
        (one for place, one in _with_limits(others) if place not in secret), key=lambda one: (one.number, one.serial)
    )
    return Tried(tuple(sorted(items.values())), judged, tuple(shown))


def _with_limits(others: Sequence[tuple[Place, OtherVerdict]]) -> list[tuple[Place, OtherVerdict]]:
    """The same with what each recorded answer was judged by, for the drawn band."""
    specs = specs_of({place[1] for place, _ in others})
    return [(place, replace(one, spec_before=specs.get(place[1]))) for place, one in others]


def _last_items(family_id: int, units: int) -> dict[int, str]:
    """Items of the family's units, the latest opened first, with their serials."""
    rows = Adoption.objects.filter(item__family=family_id, item__unit__isnull=False)
    found: dict[int, str] = {}
    for item, serial in _plain(rows.order_by("-item__unit__opened_at", "-item_id"), ("item_id", "item__unit__serial")):
        if len(found) >= units and item not in found:
            break
        found.setdefault(item, serial)
    return found


def _judge(card: CheckpointCard, recorded_as: str, answer: str, uncertainty: str) -> tuple[str, str, str] | None:
    """The draft's outcome, the nearest limit, and the answer in words; None when the limits do not fit it."""
    if card.kind != recorded_as:
        return None
    reader = kind(card.kind)
    data = json.loads(answer)
    if card.kind == "derived":
        data.pop("value", None)  # computed again, with the draft's formula
    try:
        read: Any = reader.read_answer(data, card.spec)
        assessed = reader.assess(read, card.spec, expanded_uncertainty=Decimal(uncertainty) if uncertainty else None)
    except Invalid:
        return None
    return str(assessed.outcome), assessed.nearest_limit or "", reader.describe_answer(read, card.spec)


def _other(
    serial: str, card: CheckpointCard, recorded: tuple[str, str, int], after: tuple[str, str, str]
) -> OtherVerdict:
    return OtherVerdict(
        serial=serial,
        number=card.number,
        key=card.key,
        title=card.title,
        described=after[2],
        before=recorded[0],
        after=after[0],
        limits=card.limits_text,
        inspection=recorded[2],
        nearest_before=recorded[1],
        nearest_after=after[1],
        spec=card.spec,
    )


@dataclass(frozen=True)
class InspectedTo:
    """A unit that is, or was, inspected to a plan revision."""

    revision_id: int
    serial: str
    state: str


def units_inspected_to(revision_ids: Sequence[int]) -> dict[int, list[InspectedTo]]:
    """The units that adopted each of these revisions, by serial."""
    rows = Adoption.objects.filter(revision__in=revision_ids, item__unit__isnull=False)
    columns = ("revision_id", "item__unit__serial", "item__unit__state")
    found: dict[int, list[InspectedTo]] = {}
    for row in sorted(set(_plain(rows, columns))):
        found.setdefault(row[0], []).append(InspectedTo(*row))
    return found
