"""Corrective actions, what goes wrong most and what it costs, and the queue of reports."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.improvement.queries.actions import action, actions, costs_of_report
from qcapp.improvement.queries.effect import effect_of
from qcapp.improvement.queries.seeing import Wanted, cost_of_actions, costs_by_cause, pareto, weeks
from qcapp.improvement.queries.settings import setting
from qcapp.improvement.queries.similar import clusters
from qcapp.improvement.services import leading, opening
from qcapp.improvement.services.costs import record_cost, reverse_cost
from qcapp.improvement.services.settings import set_improvement
from qcapp.lib.site_days import site_day
from qcapp.nonconformance.queries import report_row
from qcapp.nonconformance.queries.queue import QueueFilter, queue_page
from qcapp.people.roles import Act

from ..acts import ActView, Pin, Refusal
from ..errors import plain
from .messages import Nothing
from .units import report_line

FILTERS = [
    OpenApiParameter(name, str)
    for name in (
        "state", "severity", "family", "checkpoint", "joint", "cause", "disposition", "since", "until", "waiting",
        "order", "after",
    )
]  # fmt: skip
ASKED = [OpenApiParameter(name, str) for name in ("by", "measure", "family", "since", "until")]
BAD = {400: Refusal, 401: Refusal, 403: Refusal, 404: Refusal}
ACTED = BAD | {409: Refusal}


class QueueList(serializers.Serializer[Any]):
    reports = serializers.ListField(child=serializers.DictField())
    counts = serializers.DictField(child=serializers.IntegerField())
    ages = serializers.DictField(child=serializers.IntegerField(), help_text="how long the active ones stand so")
    more = serializers.IntegerField(allow_null=True, help_text="give it as after= for the next page")


class Found(serializers.Serializer[Any]):
    found = serializers.DictField()


class ActionList(serializers.Serializer[Any]):
    actions = serializers.ListField(child=serializers.DictField())
    similar = serializers.ListField(child=serializers.DictField(), help_text="groups that no action answers yet")


class Action(serializers.Serializer[Any]):
    action = serializers.DictField()
    effect = serializers.DictField(allow_null=True)


class OpenAction(serializers.Serializer[Any]):
    title = serializers.CharField(max_length=160)
    problem = serializers.CharField(max_length=600)
    basis = serializers.CharField(max_length=12)
    value = serializers.CharField(max_length=120)
    family = serializers.CharField(max_length=20, required=False, allow_blank=True, default="")


class Accept(serializers.Serializer[Any]):
    owner = serializers.CharField(max_length=20, required=False, allow_blank=True, default="", help_text="a badge")


class Explain(serializers.Serializer[Any]):
    whys = serializers.ListField(child=serializers.CharField(max_length=300), max_length=20)
    cause = serializers.CharField(max_length=12)


class NewStep(serializers.Serializer[Any]):
    text = serializers.CharField(max_length=300)
    owner = serializers.CharField(max_length=20, help_text="a badge")
    due_on = serializers.DateField()


class MoveStep(serializers.Serializer[Any]):
    step = serializers.IntegerField()
    move = serializers.ChoiceField(choices=["do", "verify", "send_back", "cancel"])
    note = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class WatchEffect(serializers.Serializer[Any]):
    effective_on = serializers.DateField()
    units_wanted = serializers.IntegerField(required=False, allow_null=True, default=None)


class ActionReason(serializers.Serializer[Any]):
    note = serializers.CharField(max_length=600)


class MoreReports(serializers.Serializer[Any]):
    reports = serializers.ListField(child=serializers.CharField(max_length=20), max_length=200)


class CloseAction(Pin):
    note = serializers.CharField(max_length=600)


class Cost(serializers.Serializer[Any]):
    about = serializers.CharField(max_length=20, help_text="number of a report or a corrective action")
    what = serializers.CharField(max_length=160)
    minutes = serializers.IntegerField(min_value=0, max_value=60_000)
    material = serializers.DecimalField(max_digits=12, decimal_places=2, min_value=0)


class TakeBack(serializers.Serializer[Any]):
    entry = serializers.IntegerField()
    reason = serializers.CharField(max_length=140)


class Settings(serializers.Serializer[Any]):
    rate_per_hour = serializers.DecimalField(max_digits=9, decimal_places=2, allow_null=True)
    currency = serializers.CharField(max_length=3)
    similar_count = serializers.IntegerField()
    similar_days = serializers.IntegerField()
    units_wanted = serializers.IntegerField()


class NewSettings(Settings):
    rate_per_hour = serializers.DecimalField(max_digits=9, decimal_places=2)


class QueueView(ActView):
    act = {"GET": Act.LOOK_AT_REPORTS}

    @extend_schema(parameters=FILTERS, responses={200: QueueList} | BAD)
    def get(self, request: Request) -> Response:
        """Reports by what they wait for; the same filter as the page, a page at a time."""
        asked = request.query_params.dict()
        typed = asked.get("after", "")
        after = int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 19 else None
        page = queue_page(QueueFilter.read(asked), viewer=self.person, at=self.at, after=after)
        rows = [
            report_line(row.card)
            | {"next": row.step, "waits_for": list(row.roles), "days": row.days}
            | {"order": row.order_number, "due_on": plain(row.due_on)}
            for row in page.rows
        ]
        return Response({"reports": rows, "counts": page.counts, "ages": dict(page.ages), "more": page.more})


class ParetoView(ActView):
    act = {"GET": Act.LOOK_AT_IMPROVEMENT}

    @extend_schema(parameters=ASKED, responses={200: Found} | BAD)
    def get(self, request: Request) -> Response:
        """Where most reports, or most of the cost, come from; and reports by week."""
        wanted = Wanted.read(request.query_params.dict(), site_day(self.at))
        found = plain(asdict(pareto(wanted))) | {"weeks": [plain(asdict(week)) for week in weeks(wanted)]}
        return Response({"found": found})


class CostsView(ActView):
    act = {"GET": Act.LOOK_AT_IMPROVEMENT, "POST": Act.RECORD_COST}

    @extend_schema(parameters=[*ASKED, OpenApiParameter("about", str)], responses={200: Found} | BAD)
    def get(self, request: Request) -> Response:
        """Costs by cause, and the entries of a report or an action named by `about`."""
        wanted = Wanted.read(request.query_params.dict(), site_day(self.at))
        about = request.query_params.get("about", "")[:20]
        causes = [plain(asdict(one)) for one in costs_by_cause(wanted)]
        found = {"by_cause": causes, "actions_cents": cost_of_actions(), "entries": _entries(about)}
        return Response({"found": found})

    @extend_schema(request=Cost, responses={201: Found} | ACTED)
    def post(self, request: Request) -> Response:
        """Record minutes and material."""
        given = self.read(Cost)
        record_cost(by=self.person, at=self.at, **given)
        return Response({"found": {"entries": _entries(given["about"])}}, status=201)


class CostTakeBackView(ActView):
    act = {"POST": Act.RECORD_COST}

    @extend_schema(request=TakeBack, responses={201: Found} | ACTED)
    def post(self, request: Request) -> Response:
        """Take a wrong entry back; both stay."""
        given = self.read(TakeBack)
        key = reverse_cost(by=self.person, entry_id=given["entry"], reason=given["reason"], at=self.at)
        return Response({"found": {"entry": key}}, status=201)


class ImprovementSettingsView(ActView):
    act = {"GET": Act.LOOK_AT_IMPROVEMENT, "POST": Act.SET_IMPROVEMENT}

    @extend_schema(responses={200: Settings} | BAD)
    def get(self, request: Request) -> Response:
        """The rate, the threshold and the number of units."""
        return Response(_settings())

    @extend_schema(request=NewSettings, responses={200: Settings} | BAD)
    def post(self, request: Request) -> Response:
        """Set them; what was recorded before keeps its rate."""
        set_improvement(by=self.person, at=self.at, **self.read(NewSettings))
        return Response(_settings())


class ActionsView(ActView):
    act = {"GET": Act.LOOK_AT_IMPROVEMENT, "POST": Act.LEAD_ACTION}

    @extend_schema(
        parameters=[OpenApiParameter("state", str)],
        responses={200: ActionList} | BAD,
        operation_id="CorrectiveActionList",
    )
    def get(self, request: Request) -> Response:
        """Corrective actions, the latest first, and similar reports that could become one."""
        found = actions(request.query_params.get("state", "active")[:20])
        similar = [plain(asdict(one)) for one in clusters(at=self.at)]
        return Response({"actions": [plain(asdict(one)) for one in found], "similar": similar})

    @extend_schema(request=OpenAction, responses={201: Action} | ACTED)
    def post(self, request: Request) -> Response:
        """Open a corrective action for a group of similar reports."""
        given = self.read(OpenAction)
        number = opening.open_action(by=self.person, family_code=given.pop("family"), at=self.at, **given)
        return Response(_action(number), status=201)


class ActionView(ActView):
    act = {"GET": Act.LOOK_AT_IMPROVEMENT}

    @extend_schema(responses={200: Action} | BAD)
    def get(self, request: Request, number: str) -> Response:
        """One corrective action with its effect so far."""
        return Response(_action(number))


Perform = Callable[[ActView, str, dict[str, Any]], object]


def _act(name: str, act: Act, shape: type[serializers.Serializer[Any]], perform: Perform, says: str) -> type[ActView]:
    """A view for one act on an action; the answer is the action after it."""

    @extend_schema(request=shape, responses={200: Action} | ACTED, summary=says, operation_id=f"CorrectiveAction{name}")
    def post(self: ActView, request: Request, number: str) -> Response:
        perform(self, number, self.read(shape))
        return Response(_action(number))

    return type(f"{name}ActionView", (ActView,), {"act": {"POST": act}, "post": post})


def _who(view: ActView, number: str) -> dict[str, Any]:
    return {"by": view.person, "number": number, "at": view.at}


ACTION_ACTS: dict[str, type[ActView]] = {
    "accept": _act(
        "Accept", Act.LEAD_ACTION, Accept,
        lambda v, n, g: leading.accept(owner_badge=g["owner"], **_who(v, n)), "Take up a proposed action",
    ),
    "explain": _act(
        "Explain", Act.LEAD_ACTION, Explain, lambda v, n, g: leading.explain(**g, **_who(v, n)), "Write the causes"
    ),
    "steps": _act(
        "Step", Act.LEAD_ACTION, NewStep,
        lambda v, n, g: leading.add_step(text=g["text"], owner_badge=g["owner"], due_on=g["due_on"], **_who(v, n)),
        "Agree a step",
    ),
    "move-step": _act(
        "MoveStep", Act.DO_ACTION, MoveStep,
        lambda v, n, g: leading.move_step(step_id=g["step"], name=g["move"], note=g["note"], **_who(v, n)),
        "Say that a step is done, verify it, send it back or cancel it",
    ),
    "reports": _act(
        "Reports", Act.LEAD_ACTION, MoreReports, lambda v, n, g: opening.add_reports(**g, **_who(v, n)),
        "Answer further reports",
    ),
    "agree": _act(
        "Agree", Act.LEAD_ACTION, Nothing, lambda v, n, g: leading.agree(**_who(v, n)), "Causes and steps stand"
    ),
    "watch": _act(
        "Watch", Act.LEAD_ACTION, WatchEffect, lambda v, n, g: leading.watch(**g, **_who(v, n)),
        "Every step is verified: watch the effect",
    ),
    "look-again": _act(
        "LookAgain", Act.LEAD_ACTION, ActionReason, lambda v, n, g: leading.look_again(**g, **_who(v, n)),
        "It does not help: back to the causes",
    ),
    "drop": _act(
        "Drop", Act.LEAD_ACTION, ActionReason, lambda v, n, g: leading.drop(**g, **_who(v, n)), "Not pursued"
    ),
    "close": _act(
        "Close", Act.CLOSE_ACTION, CloseAction,
        lambda v, n, g: leading.close(proof=v.proof(g["pin"]), number=n, note=g["note"], at=v.at),
        "Close it on its effect, signed",
    ),
}  # fmt: skip


def _action(number: str) -> dict[str, Any]:
    effect = effect_of(number)
    return {"action": plain(asdict(action(number))), "effect": None if effect is None else plain(asdict(effect))}


def _settings() -> dict[str, Any]:
    now = setting()
    rate = None if now.rate_per_hour is None else f"{now.rate_per_hour:.2f}"
    return {"rate_per_hour": rate} | {
        name: getattr(now, name) for name in ("currency", "similar_count", "similar_days", "units_wanted")
    }


def _entries(about: str) -> list[dict[str, Any]]:
    if not about:
        return []
    named = about.strip().upper()
    found = action(named).costs if named.startswith("CA-") else costs_of_report(report_row(named).pk)
    return [plain(asdict(one)) for one in found]
