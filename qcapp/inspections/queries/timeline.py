"""What the inspections contribute to a unit's history: every stored answer, and what happened, newest first."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime
from itertools import groupby
from typing import TYPE_CHECKING, Any, NamedTuple

from django.db.models import CharField, IntegerField, QuerySet, TextField, Value
from django.db.models.functions import Cast
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


def results_of(
    item_id: int,
    *,
    viewer: Person | None = None,
    at: datetime | None = None,
    cards: dict[int, CheckpointCard] | None = None,
) -> list[AnswerView]:
    """Every stored answer of the item, the oldest first, without those that the viewer must not see yet.

    `cards` are those of `cards_of` where the caller has them at hand.
    """
    cards = cards_of(item_id) if cards is None else cards
    found = loading.answers(Result.objects.filter(item=item_id).order_by("id"), cards)
    secret = _secret(item_id, cards, viewer, at or timezone.now())
    return [answer for answer in found if (answer.checkpoint_id, answer.round) not in secret] if secret else found


def cards_of(item_id: int) -> dict[int, CheckpointCard]:
    """The checkpoints that the item was answered to, by id, of every revision concerned."""
    adopted = Adoption.objects.filter(item=item_id).values_list("revision_id", flat=True)
    answered = Result.objects.filter(item=item_id).values_list("checkpoint__revision_id", flat=True).distinct()
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
    return waiting | {slot for slot in given if slot[0] in cards and cards[slot[0]].key in keys and slot not in mine}


def happenings(
    item_id: int,
    *,
    viewer: Person | None = None,
    answers: list[AnswerView] | None = None,
    cards: dict[int, CheckpointCard] | None = None,
) -> list[Happening]:
    """What happened in the inspection of the item, newest first; results in one line for each submission.

    `answers` and `cards` are those of `results_of` and `cards_of` where the caller has them at hand; no answers leave
    the submissions out.
    """
    if answers is None:
        cards = cards_of(item_id)
        answers = results_of(item_id, viewer=viewer, cards=cards)
    recorded = _submissions(answers, cards or cards_of(item_id)) if answers else []
    found = [*recorded, *_acts(item_id)]
    return sorted(found, key=lambda one: (one.at, IN_ORDER.index(one.what)), reverse=True)


def _acts(item_id: int) -> list[Happening]:
    """Adoptions, signatures, decisions and reopenings in one query, because every page of a unit asks for them."""
    adopted = _rows(Adoption.objects.filter(item=item_id), "adopted", "by__name", text="revision__letter")
    signed = _rows(
        StageSignOff.objects.filter(item=item_id), "signed", "signature__person__name", text="stage__name",
        number="stage__number", second="answers",
    )  # fmt: skip
    decided = _rows(
        ResultDecision.objects.filter(result__item=item_id), "decided", "signature__person__name", text="about",
        number="result__characteristic__number", second="accepted", reason="reason",
    )  # fmt: skip
    reopened = _rows(
        Reinspection.objects.filter(item=item_id), "reopened", "by__name", text="source", number="round",
        second="checkpoint__characteristic__number",
    )  # fmt: skip
    rows = [_Act(*row) for row in adopted.union(signed, decided, reopened, all=True)]
    reopenings = sorted(row for row in rows if row.what == "reopened")
    return [
        *(_sentence(row) for row in rows if row.what != "reopened"),
        *(_reopening(list(group)) for _, group in groupby(reopenings, key=lambda row: row[:5])),
    ]


class _Act(NamedTuple):
    """One row of the union. What `text` and the numbers are depends on `what`."""

    what: str
    at: datetime
    person: str
    text: str
    number: int
    second: int
    reason: str


def _rows(rows: QuerySet[Any], what: str, person: str, *, text: str, **columns: str) -> QuerySet[Any]:
    """The rows in the columns of `_Act`."""
    whole = IntegerField()
    return rows.order_by().values_list(
        Value(what, output_field=CharField()),
        "at",
        person,
        text,
        Cast(columns.get("number", Value(0)), whole),
        Cast(columns.get("second", Value(0)), whole),
        Cast(columns.get("reason", Value("")), TextField()),
    )


def _sentence(row: _Act) -> Happening:
    if row.what == "adopted":
        return Happening(row.at, row.what, f"Inspected to plan revision {row.text} from here on.", row.person)
    if row.what == "signed":
        text = f"Stage {row.number} {row.text} signed; {row.second} answers covered."
        return Happening(row.at, row.what, text, row.person, row.number)
    words = f"{row.text.replace('_', ' ')}: {'accepted' if row.second else 'not accepted'}. {row.reason}"
    return Happening(row.at, row.what, f"{row.number} {words}", row.person, checkpoint_number=row.number)


def _reopening(rows: list[_Act]) -> Happening:
    """What one source opened at one time in one round."""
    first = rows[0]
    numbers = [row.second for row in rows]
    text = ", ".join(map(str, numbers[:NAMED_AT_MOST])) + (" …" if len(numbers) > NAMED_AT_MOST else "")
    sentence = f"{first.text} opened {text} again, round {first.number}."
    return Happening(first.at, first.what, sentence, first.person)


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
