"""Which checkpoints a correction may have disturbed, and so have to be inspected again."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING

from qcapp.core.errors import Invalid, NotFound
from qcapp.inspections.queries import adopted
from qcapp.inspections.queries.standing import inputs_of
from qcapp.lib.plain_text import shown
from qcapp.production.queries import units_of_items

from ..models import Report
from ..states import Method

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard

Cards = dict[str, "CheckpointCard"]
GEOMETRIC = frozenset({"mm", "°", "µm", "mm/m", "m"})


def to_reinspect(report: Report, keys: list[str]) -> list[str]:
    """Keys of the checkpoints to inspect again, by number: computed ones stand for what they are computed from.

    The failed one is always among them. Raises NotFound `checkpoint_unknown`, Invalid `nothing_to_reinspect`.
    """
    if not units_of_items([report.item_id]):  # a lot has no checkpoints of its own here
        return []
    cards = _cards(report)
    unknown = [key for key in keys if key not in cards]
    if unknown:
        name = shown(unknown[0])
        raise NotFound("checkpoint_unknown", f"The plan of this unit has no checkpoint {name}.", checkpoint=name)
    chosen = {key for wanted in (*keys, *_failed(report)) if wanted in cards for key in _measured(wanted, cards)}
    if not chosen:
        raise Invalid("nothing_to_reinspect", "Name at least one checkpoint that shows the correction worked.")
    return _by_number(chosen, cards)


def disturbed(report: Report, method: str = "") -> list[str]:
    """Keys that are proposed: the failed checkpoint, those of its joint, the same dimension before or after welding.

    Heat and force reach further: re-welding and cold straightening may have moved every critical length and angle of
    the failed one's stage (common practice, no source).
    """
    if not units_of_items([report.item_id]):
        return []
    cards = _cards(report)
    wanted = set(_failed(report))
    wanted |= _of_the_same_joint(report, cards) | _paired(wanted, cards)
    if method in set(Method):
        wanted |= _moved(report, cards)
    return _by_number({key for one in wanted if one in cards for key in _measured(one, cards)}, cards)


def left_out(report: Report, method: str, chosen: Collection[str]) -> list[CheckpointCard]:
    """The checkpoints that a method may have disturbed and nobody wants to inspect again."""
    if method not in set(Method):
        return []
    cards = _cards(report)
    return [cards[key] for key in disturbed(report, method) if key not in chosen]


def _cards(report: Report) -> Cards:
    return {card.key: card for card in adopted(report.item_id).checkpoints}


def _failed(report: Report) -> list[str]:
    return [report.checkpoint.characteristic.key] if report.checkpoint else []


def _of_the_same_joint(report: Report, cards: Cards) -> set[str]:
    joint = report.checkpoint.joint if report.checkpoint else ""
    return {key for key, card in cards.items() if joint and card.joint == joint}


def _paired(keys: Iterable[str], cards: Cards) -> set[str]:
    """The same dimension elsewhere in the plan, whichever of the two names the other."""
    own = set(keys)
    named = {cards[key].paired_with for key in own if key in cards}
    return {key for key, card in cards.items() if card.paired_with in own or key in named}


def _moved(report: Report, cards: Cards) -> set[str]:
    """Every critical length and angle of the failed one's stage: what alignment is judged by."""
    failed = next((cards[key] for key in _failed(report) if key in cards), None)
    if failed is None:
        return set()
    return {
        key for key, card in cards.items()
        if card.kind in {"measured", "derived"} and card.criticality == "critical"
        and card.stage_number == failed.stage_number and _unit_of_measure(card) in GEOMETRIC
    }  # fmt: skip


def _unit_of_measure(card: CheckpointCard) -> str:
    return str(card.spec_json.get("unit_of_measure", ""))


def _measured(key: str, cards: Cards) -> set[str]:
    """The checkpoint itself, or for a computed one those that people answer and it is computed from."""
    if cards[key].kind != "derived":
        return {key}
    return {one for read in inputs_of(cards[key]) if read in cards for one in _measured(read, cards)}


def _by_number(keys: Iterable[str], cards: Cards) -> list[str]:
    return sorted(keys, key=lambda key: cards[key].number)
