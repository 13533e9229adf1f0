"""What adopting another plan revision would do to a unit's answers: plain functions, then the readers around them.

An answer carries over as it is where its checkpoint says the same, and is judged again where only limits differ.
Where what is measured, or how the part is set up for it, is another, the checkpoint is answered anew.
"""

from __future__ import annotations

import json
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cached_property
from typing import TYPE_CHECKING, Any

from qcapp.core.checkpoints.kinds import kind, passes
from qcapp.core.errors import Invalid, Refused
from qcapp.core.metrology.quantities import as_text
from qcapp.core.sealing import canonical, digest
from qcapp.plans.queries import checkpoints_of_card
from qcapp.production.queries import units_of_items

from ..models import Adoption, CarriedAnswer, PlanChoice, Result
from . import adopted, plan_of
from .loading import Slot, _plain, describe, reopenings_of_items
from .secrets import kept_secret
from .slots import heads

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.plans.queries import CheckpointCard, RevisionCard
    from qcapp.production.queries import UnitCard

    from . import Adopted
    from .secrets import Place

CARRIED, JUDGED = CarriedAnswer.How.CARRIED, CarriedAnswer.How.JUDGED
COLUMNS = (
    "id", "operation", "checkpoint_id", "round", "inspection", "answer", "raw", "outcome", "excess", "nearest_limit",
    "gauge_id", "gauge__number", "gauge__kind__key", "expanded_uncertainty", "person_id", "person__name",
    "recorded_at", "flags", "replaces",
)  # fmt: skip
WORSE = {"in_band": 0, "conforms": 0, "recorded": 0, "near_limit": 1, "out_of_band": 2, "does_not_conform": 2}


@dataclass(frozen=True)
class Source:
    """A standing answer to the revision that a unit leaves."""

    result_id: int
    operation: Any
    checkpoint_id: int
    round: int
    inspection: int
    answer: str
    raw: str
    outcome: str
    excess: str
    nearest_limit: str
    gauge_id: int | None
    gauge_number: str | None
    gauge_kind: str | None
    expanded_uncertainty: str
    person_id: int
    person_name: str
    recorded_at: Any
    flags: Sequence[str]
    replaces: Sequence[str]


@dataclass(frozen=True)
class Carry:
    """One answer on its way: as it stood, and as it stands to the other revision.

    `judged_as` is the verdict by the new limits alone. `outcome` is what counts: an answer that did not pass stays
    so, whatever the new limits would say, until a disposition.
    """

    source: Source
    before: CheckpointCard
    card: CheckpointCard
    how: str
    judged_as: str
    outcome: str
    excess: str
    nearest_limit: str
    plot: float | None
    described: str
    answer: str  # canonical JSON, as it reads to the other checkpoint
    counts: bool = True  # whether it is in the checkpoint's current round

    @property
    def worse(self) -> bool:
        """Whether it passed and does not any more: this raises a report."""
        return passes(self.source.outcome) and not passes(self.outcome)

    @property
    def kept(self) -> bool:
        """Whether the looser limits would let it pass, and it stays out of band nevertheless."""
        return not passes(self.source.outcome) and passes(self.judged_as)

    @property
    def changed(self) -> bool:
        return self.source.outcome != self.outcome

    def seen(self) -> list[object]:
        """What a signature under the preview covers of it."""
        return [str(self.source.operation), self.card.key, self.how, self.outcome]


@dataclass(frozen=True)
class AdoptionPreview:
    """What adopting `to` would do to the unit's answers. Nothing is stored."""

    unit: UnitCard
    frm: RevisionCard
    to: RevisionCard
    carries: tuple[Carry, ...]
    new: tuple[CheckpointCard, ...]
    anew: tuple[CheckpointCard, ...]  # answered, but another thing is measured now
    removed: tuple[CheckpointCard, ...]
    left_failing: tuple[int, ...] = field(default=())  # numbers of answers that did not pass and stay behind

    @cached_property
    def carried(self) -> list[Carry]:
        return [one for one in self.carries if one.how == CARRIED and one.counts]

    @cached_property
    def judged(self) -> list[Carry]:
        return [one for one in self.carries if one.how == JUDGED and one.counts]

    @cached_property
    def worse(self) -> list[Carry]:
        return [one for one in self.carries if one.worse]

    @cached_property
    def kept(self) -> list[Carry]:
        return [one for one in self.carries if one.kept and one.counts]

    @property
    def covers(self) -> str:
        """SHA-256 of what is shown, so that the signature is about this and nothing that came since."""
        rows = sorted(one.seen() for one in self.carries)
        names = [[card.key for card in cards] for cards in (self.new, self.anew, self.removed)]
        return digest(canonical([self.unit.serial, str(self.frm.uuid), str(self.to.uuid), rows, names]))


def same_measuring(old: CheckpointCard, new: CheckpointCard) -> bool:
    """Whether an answer to the one is an answer to the other: the same thing, seen under the same set-up."""
    return (
        old.kind == new.kind
        and old.unit_of_measure == new.unit_of_measure
        and old.setup == new.setup
        and old.joint == new.joint
        and (old.kind != "derived" or old.spec_json.get("formula") == new.spec_json.get("formula"))
        and bool(old.temperature_text) == bool(new.temperature_text)
    )


def carry(source: Source, old: CheckpointCard, new: CheckpointCard, *, counts: bool = True) -> Carry | None:
    """The answer as it stands to the other checkpoint; None where it has to be given anew."""
    if not same_measuring(old, new):
        return None
    reader: Any = kind(new.kind)
    try:
        answer = reader.read_answer(json.loads(source.answer), new.spec)
        uncertainty = Decimal(source.expanded_uncertainty) if source.expanded_uncertainty else None
        found = reader.assess(answer, new.spec, expanded_uncertainty=uncertainty)
    except Invalid:
        return None
    judged_as = found.outcome.value
    stays = not passes(source.outcome) and passes(judged_as)
    return Carry(
        source=source,
        before=old,
        card=new,
        how=CARRIED if old.spec_json == new.spec_json else JUDGED,
        judged_as=judged_as,
        outcome=source.outcome if stays else judged_as,
        excess=source.excess if stays else as_text(found.excess) if found.excess else "",
        nearest_limit=source.nearest_limit if stays else found.nearest_limit or "",
        plot=found.plot,
        described=describe(json.loads(source.answer), old),
        answer=source.answer if old.spec_json == new.spec_json else canonical(answer.to_json()),
        counts=counts,
    )


def plan_carries(
    sources: Iterable[Source],
    old: Sequence[CheckpointCard],
    new: Sequence[CheckpointCard],
    rounds: Mapping[int, int],
) -> list[Carry]:
    """Every answer that goes over, the oldest first. `rounds` are the current rounds of the old checkpoints."""
    before = {card.id: card for card in old}
    after = {card.characteristic_id: card for card in new}
    found = []
    for source in sources:
        card = before[source.checkpoint_id]
        other = after.get(card.characteristic_id)
        counts = source.round == rounds.get(card.id, 1)
        taken = carry(source, card, other, counts=counts) if other else None
        found += [taken] if taken else []
    return found


def sources_of(item_id: int, checkpoint_ids: Iterable[int]) -> list[Source]:
    """The heads of every slot of these checkpoints, those in conflict too, the oldest first."""
    return _standing(_recorded([item_id]).get(item_id, ()), frozenset(checkpoint_ids))


def _recorded(items: Iterable[int]) -> dict[int, list[Source]]:
    """Every answer recorded for the items, the oldest first; one query."""
    found: dict[int, list[Source]] = {}
    for item, *row in Result.objects.filter(item__in=list(items)).order_by("id").values_list("item_id", *COLUMNS):
        found.setdefault(item, []).append(Source(*row))
    return found


def _standing(recorded: Iterable[Source], checkpoint_ids: Container[int]) -> list[Source]:
    slots: dict[Slot, list[Source]] = {}
    for source in recorded:
        if source.checkpoint_id in checkpoint_ids:
            slots.setdefault((source.checkpoint_id, source.round, source.inspection), []).append(source)
    standing = [source for answers in slots.values() for source in heads(answers)]
    return sorted(standing, key=lambda source: source.result_id)


def check_adoptable(unit: UnitCard, frm: RevisionCard, to: RevisionCard) -> None:
    """Raises Refused `unit_not_in_build`, `plan_of_other_family`, `adopted_already`, `revision_not_adoptable`."""
    if unit.state != "in_build":
        message = f"{unit.serial} is {unit.state_label}; another plan is adopted while a unit is in build."
        raise Refused("unit_not_in_build", message)
    if to.family_id != unit.family_id:
        raise Refused("plan_of_other_family", f"That plan is for {to.family_code}, not for {unit.serial}.")
    if to.id == frm.id:
        raise Refused("adopted_already", f"{unit.serial} is inspected to revision {to.letter} already.")
    if to.state not in {"released", "superseded"}:
        message = f"Revision {to.letter} is {to.state_label}; a unit adopts a released one."
        raise Refused("revision_not_adoptable", message)


def preview_of(unit: UnitCard, to: RevisionCard) -> AdoptionPreview:
    """What adopting the revision would do to the unit. Raises NotFound `no_plan_adopted` and as `check_adoptable`."""
    plan = adopted(unit.item_id)
    check_adoptable(unit, plan.revision, to)
    (found,) = _previews([(unit, plan)], to)
    return found


def _previews(units: Sequence[tuple[UnitCard, Adopted]], to: RevisionCard) -> list[AdoptionPreview]:
    """What adopting would do to each of them; two queries, however many units."""
    items = [unit.item_id for unit, _ in units]
    recorded, reopened, new = _recorded(items), reopenings_of_items(items), checkpoints_of_card(to)
    found = []
    for unit, plan in units:
        sources = _standing(recorded.get(unit.item_id, ()), {card.id for card in plan.checkpoints})
        rounds = {checkpoint: opened[-1][0] for checkpoint, opened in reopened.get(unit.item_id, {}).items()}
        found.append(_preview(unit, plan, to, sources, rounds, new))
    return found


def _preview(
    unit: UnitCard, plan: Adopted, to: RevisionCard, sources: Sequence[Source], rounds: Mapping[int, int],
    new: Sequence[CheckpointCard],
) -> AdoptionPreview:  # fmt: skip
    carries = plan_carries(sources, plan.checkpoints, new, rounds)
    gone = {source.checkpoint_id for source in sources} - {one.before.id for one in carries}
    old = {card.characteristic_id: card for card in plan.checkpoints}
    kept = {card.characteristic_id for card in new}
    return AdoptionPreview(
        unit=unit,
        frm=plan.revision,
        to=to,
        carries=tuple(carries),
        new=tuple(card for card in new if card.characteristic_id not in old),
        anew=tuple(c for c in new if c.characteristic_id in old and old[c.characteristic_id].id in gone),
        removed=tuple(card for card in plan.checkpoints if card.characteristic_id not in kept),
        left_failing=_left_failing(sources, gone, rounds, plan.checkpoints),
    )


def _left_failing(
    sources: Iterable[Source], gone: Container[int], rounds: Mapping[int, int], cards: Iterable[CheckpointCard]
) -> tuple[int, ...]:
    numbers = {card.id: card.number for card in cards}
    return tuple(
        sorted(
            {
                numbers[one.checkpoint_id]
                for one in sources
                if one.checkpoint_id in gone and not passes(one.outcome)
                if one.round == rounds.get(one.checkpoint_id, 1)
            }
        )
    )


@dataclass(frozen=True)
class ShownPreview:
    """A preview without the answers that the viewer, who may still owe a second inspection, must not see."""

    judged: tuple[Carry, ...]
    carried: int
    hidden: int

    @property
    def worse(self) -> list[Carry]:
        return [one for one in self.judged if one.worse]

    @property
    def kept(self) -> list[Carry]:
        return [one for one in self.judged if one.kept]


def shown_to(preview: AdoptionPreview, *, viewer: Person | None) -> ShownPreview:
    """The preview as a person may see it: worst verdicts first, then by number."""
    return _shown(preview, kept_secret(_places(preview), viewer=viewer))


def _places(preview: AdoptionPreview) -> set[Place]:
    return {(preview.unit.item_id, one.before.id, one.source.round) for one in preview.judged}


def _shown(preview: AdoptionPreview, secret: Container[Place]) -> ShownPreview:
    item = preview.unit.item_id
    told = [one for one in preview.judged if (item, one.before.id, one.source.round) not in secret]
    told.sort(key=lambda one: (not one.worse, not one.kept, not one.changed, one.card.number))
    return ShownPreview(tuple(told), len(preview.carried), len(preview.judged) - len(told))


@dataclass(frozen=True)
class UnitUnderOther:
    """A unit in build under another revision, what adopting would do, and whether it was decided that it stays."""

    preview: AdoptionPreview
    shown: ShownPreview
    stays: str  # the reason, when the latest choice about this revision was to stay


def under_other_revisions(to: RevisionCard, *, viewer: Person | None, most: int = 100) -> list[UnitUnderOther]:
    """The family's units in build that are not on this revision, by serial. Empty where it may not be adopted.

    A dozen queries, however many units.
    """
    if to.state not in {"released", "superseded"}:
        return []
    rows = Adoption.objects.filter(item__family=to.family_id, item__unit__state="in_build").order_by("id")
    columns = ("item_id", "revision__uuid", "revision_id", "revision__status__state")
    latest = {item: revision for item, *revision in _plain(rows, columns)}
    items = [item for item, (_, revision_id, _) in latest.items() if revision_id != to.id][:most]
    stays = _stays(items, to.id)
    units = sorted(units_of_items(items).values(), key=lambda unit: unit.serial)
    previews = _previews([(unit, plan_of(*latest[unit.item_id])) for unit in units], to)
    secret = kept_secret({place for one in previews for place in _places(one)}, viewer=viewer)
    return [UnitUnderOther(one, _shown(one, secret), stays.get(one.unit.item_id, "")) for one in previews]


def _stays(items: Sequence[int], revision_id: int) -> dict[int, str]:
    rows = PlanChoice.objects.filter(item__in=items, to_revision=revision_id).order_by("id")
    latest = {item: (choice, reason) for item, choice, reason in _plain(rows, ("item_id", "choice", "reason"))}
    return {item: reason for item, (choice, reason) in latest.items() if choice == PlanChoice.Choice.STAY}
