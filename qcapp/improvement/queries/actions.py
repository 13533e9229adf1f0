"""Readers of corrective actions, their steps and their costs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import date
from typing import TYPE_CHECKING, Any

from django.db.models import Count, Prefetch, QuerySet

from qcapp.core.errors import NotFound
from qcapp.lib.plain_text import shown
from qcapp.plans.queries.specified import titles_of

from ..cards import BY_THRESHOLD, ActionCard, ActionView, CostCard, EventCard, MoveCard, ReportLine, StepCard
from ..models import ActionReport, ActionStatus, CauseChain, CorrectiveAction, CostEntry, Step, StepEvent
from ..states import ACTION_STATES, ENDED, STEP_STATES, ActionState, StepState
from .labels import label_of

if TYPE_CHECKING:
    from qcapp.people.models import Person

LONGEST_LIST = 300
OF_A_CARD = ("status__owner", "family", "characteristic", "opened_by")
EVENTS = Prefetch("events", StepEvent.objects.select_related("by"))
SAID = {"do": "done", "verify": "verified", "send_back": "sent back", "cancel": "cancelled"}


def action_row(number: str) -> CorrectiveAction:
    """The row of an action. Raises NotFound `action_unknown`."""
    rows = CorrectiveAction.objects.none() if "\0" in number else _actions().filter(number__iexact=number.strip())
    row = rows.first()
    if row is None:
        name = shown(number)
        message = f"There is no corrective action {name}; look it up in the list."
        raise NotFound("action_unknown", message, number=name)
    return row


def actions(state: str = "active") -> list[ActionCard]:
    """Corrective actions, the latest first: of one state, `active` for all that have not ended, or `all`."""
    rows = _actions().annotate(n=Count("reports")).order_by("-id")
    if state == "active":
        rows = rows.exclude(status__state__in=list(ENDED))
    elif state != "all":
        rows = rows.filter(status__state=state)
    found = list(rows[:LONGEST_LIST])
    waiting = _steps_waiting([row.pk for row in found])
    return _cards((row, row.n, waiting.get(row.pk, [])) for row in found)


def action_counts() -> dict[str, int]:
    """How many actions are in each state."""
    found = dict(ActionStatus.objects.values_list("state").annotate(n=Count("id")).order_by())
    return {state.value: found.get(state.value, 0) for state in ActionState}


def action(number: str) -> ActionView:
    """One corrective action with everything about it. Raises NotFound `action_unknown`."""
    row = action_row(number)
    chain = CauseChain.objects.filter(action=row).select_related("by").order_by("-id").first()
    steps = steps_of(row.pk)
    lines = reports_of_action(row.pk)
    waiting = [step.due_on for step in steps if step.state in (StepState.AGREED, StepState.DONE)]
    return ActionView(
        card=_cards([(row, len(lines), waiting)])[0], problem=row.problem, reports=lines,
        whys=tuple(chain.whys) if chain else (), cause=chain.cause if chain else "",
        whys_by=chain.by.name if chain else "", steps=steps,
        moves=[_move(one) for one in row.moves.select_related("by").order_by("id")],
        costs=costs_of(CostEntry.objects.filter(action=row)), possible=ACTION_STATES.possible(row.status.state),
    )  # fmt: skip


def reports_of_action(action_id: int) -> list[ReportLine]:
    """The reports that an action answers, the first one first."""
    rows = ActionReport.objects.filter(action=action_id).order_by("report_id")
    columns = (
        "report_id", "report__number", "report__item__unit__serial", "report__status__state", "report__raised_at",
    )  # fmt: skip
    return [ReportLine(key, number, serial or "", *rest) for key, number, serial, *rest in rows.values_list(*columns)]


def actions_of_report(report_id: int) -> list[ActionCard]:
    """The corrective actions that answer a report."""
    rows = _actions().filter(reports__report=report_id).annotate(n=Count("reports")).order_by("id")
    return _cards((row, row.n, []) for row in rows)


def steps_of(action_id: int) -> list[StepCard]:
    """What is done about it, in the order agreed."""
    rows = Step.objects.filter(action=action_id).select_related("owner").prefetch_related(EVENTS)
    return [step_card(row) for row in rows]


def steps_for(person: Person) -> list[tuple[ActionCard, StepCard]]:
    """The steps that a person has to do, the earliest due first, each with its action (reports not counted)."""
    rows = Step.objects.filter(owner=person).exclude(action__status__state__in=list(ENDED))
    with_action = [f"action__{name}" for name in OF_A_CARD]
    found = list(rows.select_related("owner", *with_action).prefetch_related(EVENTS).order_by("due_on", "id"))
    cards = _cards((row.action, 0, []) for row in found)
    together = zip(cards, map(step_card, found), strict=True)
    return [one for one in together if one[1].state == StepState.AGREED]


def step_card(row: Step) -> StepCard:
    """The card of a step already read, with its events."""
    events = sorted(row.events.all(), key=lambda one: one.pk)
    state = events[-1].state if events else StepState.AGREED.value
    return StepCard(
        id=row.pk, text=row.text, owner_id=row.owner_id, owner_name=row.owner.name, due_on=row.due_on, state=state,
        events=tuple(EventCard(SAID[e.move], e.note, e.by.name, e.at, e.by_id) for e in events),
        possible=tuple(STEP_STATES.possible(state)),
    )  # fmt: skip


def costs_of_report(report_id: int) -> list[CostCard]:
    """What a report has cost so far, the first entry first."""
    return costs_of(CostEntry.objects.filter(report=report_id))


def costs_of(rows: QuerySet[CostEntry]) -> list[CostCard]:
    """The cards of these entries."""
    return [_cost(row) for row in rows.select_related("by", "reversal").order_by("id")]


def _cost(row: CostEntry) -> CostCard:
    return CostCard(
        id=row.pk, what=row.what, minutes=row.minutes, rate_per_hour=row.rate_per_hour, material=row.material,
        currency=row.currency, cents=row.cents, taken_back=hasattr(row, "reversal"),
        is_reversal=row.reverses_id is not None, by_name=row.by.name, at=row.at,
    )  # fmt: skip


def _actions() -> QuerySet[CorrectiveAction]:
    return CorrectiveAction.objects.select_related(*OF_A_CARD)


def _steps_waiting(action_ids: Iterable[int]) -> dict[int, list[date]]:
    """By action, the due days of steps that are not verified or cancelled yet."""
    found: dict[int, list[date]] = {}
    for row in Step.objects.filter(action__in=action_ids).prefetch_related("events"):
        events = sorted(row.events.all(), key=lambda one: one.pk)
        if not events or events[-1].state in (StepState.AGREED, StepState.DONE):
            found.setdefault(row.action_id, []).append(row.due_on)
    return found


def _cards(told: Iterable[tuple[CorrectiveAction, int, list[date]]]) -> list[ActionCard]:
    """Each action's card from its row, how many reports it answers and its steps' due days; one query for titles."""
    known = list(told)
    titles = titles_of({row.characteristic_id for row, _, _ in known if row.characteristic_id})
    return [_card(row, reports, waiting, titles) for row, reports, waiting in known]


def _card(row: CorrectiveAction, reports: int, waiting: list[date], titles: Mapping[int, str]) -> ActionCard:
    status = row.status
    label = titles.get(row.characteristic_id or 0, "") or label_of(row.basis, row.value, row.characteristic)
    return ActionCard(
        id=row.pk, number=row.number, title=row.title, basis=row.basis, value=row.value,
        label=label, family_code=row.family.code if row.family else "",
        characteristic_id=row.characteristic_id, state=status.state, state_label=ActionState(status.state).label,
        owner_name=status.owner.name if status.owner else "", opened_at=row.opened_at,
        opened_by_name=row.opened_by.name if row.opened_by else BY_THRESHOLD, changed_at=status.changed_at,
        effective_on=status.effective_on, units_wanted=status.units_wanted, reports=reports, steps_open=len(waiting),
        next_due=min(waiting, default=None),
    )  # fmt: skip


def _move(row: Any) -> MoveCard:
    return MoveCard(
        name=row.name, to_label=ActionState(row.to_state).label, note=row.note, data=json.loads(row.data),
        by_name=row.by.name if row.by else "", signed=row.signature_id is not None, at=row.at,
    )  # fmt: skip
