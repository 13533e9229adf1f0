"""What the inspections contribute to a unit's history: every stored answer, and what happened, newest first."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime
from itertools import groupby
from typing import TYPE_CHECKING

from django.utils import timezone

from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.plans.queries import CheckpointCard, checkpoints_of

from ..models import Adoption, CurrentAnswer, Reinspection, Result, ResultDecision, StageSignOff
from . import loading
from .shapes import AnswerView, Happening
from .standing import inputs_of

if TYPE_CHECKING:
    from qcapp.people.models import Person

NAMED_AT_MOST = 8  # checkpoints named in one line
IN_ORDER = ("adopted", "reopened", "recorded", "decided", "signed")  # of things that bear the same time


def results_of(item_id: int, *, viewer: Person | None = None, at: datetime | None = None) -> list[AnswerView]:
    """Every stored answer of the item, the oldest first, without those that the viewer must not see yet."""
    cards = cards_of(item_id)
    found = loading.answers(Result.objects.filter(item=item_id).order_by("id"), cards)
    secret = _secret(item_id, cards, viewer, at or timezone.now())
    return (
        [answer for answer in found if (answer.checkpoint_id, answer.round) not in secret]
        if secret
        else found
    )


def cards_of(item_id: int) -> dict[int, CheckpointCard]:
    """The checkpoints that the item was answered to, by id, of every revision concerned."""
    adopted = Adoption.objects.filter(item=item_id).values_list("revision_id", flat=True)
    answered = (
        Result.objects.filter(item=item_id).values_list("checkpoint__revision_id", flat=True).distinct()
    )
    return {card.id: card for revision in {*adopted, *answered} for card in checkpoints_of(revision)}


def _secret(
    item_id: int, cards: dict[int, CheckpointCard], viewer: Person | None, at: datetime
) -> set[tuple[int, int]]:
    """Checkpoints and rounds whose first answer waits for the second of somebody else, and what derives from them."""
    given: dict[tuple[int, int], set[int]] = defaultdict(set)
    mine = set()
    rows = CurrentAnswer.objects.filter(item=item_id).values_list(
        "checkpoint_id", "round", "inspection", "result__person_id"
    )
    for checkpoint, turn, inspection, person_id in rows:
        given[checkpoint, turn].add(inspection)
        if viewer and inspection == 1 and person_id == viewer.pk:
            mine.add((checkpoint, turn))
    waiting = {
        slot
        for slot, inspections in given.items()
        if slot[0] in cards and cards[slot[0]].second_inspection and 2 not in inspections and slot not in mine
    }
    if not waiting or (viewer and not may(viewer, Act.RECORD_RESULT, at)):
        return set()
    keys = {cards[checkpoint].key for checkpoint, _ in waiting}
    while following := {c.key for c in cards.values() if c.key not in keys and keys & set(inputs_of(c))}:
        keys |= following
    return waiting | {
        slot for slot in given if slot[0] in cards and cards[slot[0]].key in keys and slot not in mine
    }


def happenings(item_id: int, *, viewer: Person | None = None) -> list[Happening]:
    """What happened in the inspection of the item, newest first; results in one line for each submission."""
    cards = cards_of(item_id)
    found = [
        *_adoptions(item_id),
        *_submissions(results_of(item_id, viewer=viewer), cards),
        *_sign_offs(item_id),
        *_decisions(item_id),
        *_reopenings(item_id, cards),
    ]
    return sorted(found, key=lambda one: (one.at, IN_ORDER.index(one.what)), reverse=True)


def _adoptions(item_id: int) -> list[Happening]:
    rows = Adoption.objects.filter(item=item_id).values_list("at", "revision__letter", "by__name")
    return [
        Happening(at, "adopted", f"Inspected to plan revision {letter} from here on.", name)
        for at, letter, name in rows
    ]


def _submissions(answers: list[AnswerView], cards: dict[int, CheckpointCard]) -> list[Happening]:
    """One line for what one person sent at one time about one stage."""

    def together(answer: AnswerView) -> tuple[datetime, str, int]:
        return answer.received_at, answer.person_name, cards[answer.checkpoint_id].stage_number

    typed = sorted((answer for answer in answers if answer.purpose != "computed"), key=together)
    return [
        Happening(at, "recorded", _recorded(list(group), cards), name, stage)
        for (at, name, stage), group in groupby(typed, key=together)
    ]


def _recorded(answers: list[AnswerView], cards: dict[int, CheckpointCard]) -> str:
    if len(answers) == 1:
        answer = answers[0]
        card = cards[answer.checkpoint_id]
        what = {"repeat": " (measured again)", "correction": " (correction)"}.get(answer.purpose, "")
        turn = f", round {answer.round}" if answer.round > 1 else ""
        outcome = answer.outcome.replace("_", " ")
        return f"{card.number} {card.title}: {answer.described}, {outcome}{what}{turn}."
    failing = [cards[answer.checkpoint_id].number for answer in answers if not answer.passes]
    named = ", ".join(map(str, sorted(failing)[:NAMED_AT_MOST]))
    rest = f"; not in order: {named}" if failing else ""
    return f"{len(answers)} results recorded{rest}."


def _sign_offs(item_id: int) -> list[Happening]:
    rows = StageSignOff.objects.filter(item=item_id).values_list(
        "at", "stage__number", "stage__name", "answers", "signature__person__name"
    )
    return [
        Happening(at, "signed", f"Stage {number} {name} signed; {answers} answers covered.", person, number)
        for at, number, name, answers, person in rows
    ]


def _decisions(item_id: int) -> list[Happening]:
    rows = ResultDecision.objects.filter(result__item=item_id).values_list(
        "at", "about", "accepted", "reason", "signature__person__name", "result__characteristic__number"
    )
    return [
        Happening(
            at,
            "decided",
            f"{number} {about.replace('_', ' ')}: {'accepted' if accepted else 'not accepted'}. {reason}",
            person,
            checkpoint_number=number,
        )
        for at, about, accepted, reason, person, number in rows
    ]


def _reopenings(item_id: int, cards: dict[int, CheckpointCard]) -> list[Happening]:
    rows = Reinspection.objects.filter(item=item_id).order_by("at", "source", "round")
    columns = ("at", "source", "round", "by__name", "checkpoint_id")
    found = []
    for (at, source, turn, name), group in groupby(rows.values_list(*columns), key=lambda row: row[:4]):
        numbers = sorted(cards[row[4]].number for row in group if row[4] in cards)
        text = ", ".join(map(str, numbers[:NAMED_AT_MOST])) + (" …" if len(numbers) > NAMED_AT_MOST else "")
        found.append(Happening(at, "reopened", f"{source} opened {text} again, round {turn}.", name))
    return found
