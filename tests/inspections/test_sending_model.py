"""Any order of entries, kills, retries, lost answers and reorderings on two tablets: what was acknowledged, once each.

The outbox is modelled here in Python (what `store.js` and `outbox.js` promise: kept before acknowledged, taken out only
by a verdict that names the entry); the endpoint is the real one, with its database.
"""

from __future__ import annotations

from typing import Any, ClassVar

import pytest
from django.test import Client
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from qcapp.inspections.models import Result

from ..cast import Cast
from ..factories.inspections import Workshop

KEYS = ("head_angle", "left_length", "weld_w7")
TABLETS = st.integers(0, 1)


class Outbox:
    """One tablet: what it has acknowledged on its screen and not heard about, in the order entered."""

    def __init__(self, client: Client, name: str) -> None:
        self.client, self.name = client, name
        self.waiting: list[dict[str, Any]] = []
        self.acknowledged: list[dict[str, Any]] = []
        self.settled: set[str] = set()
        self.requests: list[list[dict[str, Any]]] = []

    def enter(self, operation: dict[str, Any]) -> None:
        self.waiting.append(operation)
        self.acknowledged.append(operation)

    def post(self, operations: list[dict[str, Any]]) -> list[dict[str, Any]]:
        self.requests.append(operations)
        body = {"device": self.name, "operations": operations, "waiting": len(self.waiting), "waiting_since": None}
        response = self.client.post("/api/v1/operations", body, content_type="application/json")
        assert response.status_code == 200, response.content
        return list(response.json()["operations"])

    def settle(self, verdicts: list[dict[str, Any]]) -> None:
        named = {one["id"] for one in verdicts}
        assert {one["outcome"] for one in verdicts} <= {"applied", "duplicate"}, verdicts
        self.settled |= named
        self.waiting = [one for one in self.waiting if one["id"] not in named]


class Sending(RuleBasedStateMachine):
    """Two tablets at one unit; every run makes entries of its own."""

    workshop: ClassVar[Workshop]

    @initialize()
    def begin(self) -> None:
        self.before = Result.objects.exclude(purpose="computed").count()
        self.tablets = []
        for place, person in enumerate((self.workshop.cast.inspector, self.workshop.cast.second_inspector)):
            client = Client()
            client.force_login(person)
            self.tablets.append((Outbox(client, f"tablet-{place}"), person))

    @rule(which=TABLETS, key=st.sampled_from(KEYS))
    def enter(self, which: int, key: str) -> None:
        outbox, person = self.tablets[which]
        outbox.enter(self.workshop.operation(key, person=person))

    @rule(which=TABLETS, size=st.integers(1, 4), lost=st.booleans())
    def send(self, which: int, size: int, lost: bool) -> None:
        """A batch; the answer may be lost on the way, or the tablet killed before it hears it."""
        outbox, _ = self.tablets[which]
        if outbox.waiting:
            verdicts = outbox.post(outbox.waiting[:size])
            if not lost:
                outbox.settle(verdicts)

    @rule(which=TABLETS, order=st.randoms(use_true_random=False))
    def send_shuffled(self, which: int, order: Any) -> None:
        outbox, _ = self.tablets[which]
        mixed = list(outbox.waiting)
        order.shuffle(mixed)
        if mixed:
            outbox.settle(outbox.post(mixed))

    @rule(which=TABLETS, back=st.integers(0, 5))
    def arrive_late(self, which: int, back: int) -> None:
        """A request of before arrives once more: browsers repeat a POST by themselves."""
        outbox, _ = self.tablets[which]
        if back < len(outbox.requests):
            outbox.post(outbox.requests[-1 - back])

    @rule(which=TABLETS)
    def restored(self, which: int) -> None:
        """The server says it was restored: everything ever sent goes out again."""
        outbox, _ = self.tablets[which]
        outbox.waiting = list(outbox.acknowledged)

    @invariant()
    def never_claims_what_is_not_stored(self) -> None:
        for outbox, _ in getattr(self, "tablets", []):
            assert Result.objects.filter(operation__in=outbox.settled).count() == len(outbox.settled)

    def teardown(self) -> None:
        acknowledged: dict[str, str] = {}
        for outbox, person in getattr(self, "tablets", []):
            if outbox.waiting:
                outbox.settle(outbox.post(outbox.waiting))
            acknowledged |= {one["id"]: person.badge for one in outbox.acknowledged}
        rows = Result.objects.filter(operation__in=acknowledged).values_list("operation", "person__badge")
        assert sorted((str(operation), badge) for operation, badge in rows) == sorted(acknowledged.items())
        everything = Result.objects.exclude(purpose="computed").count()
        assert everything == getattr(self, "before", everything) + len(acknowledged)


@pytest.mark.django_db
def test_stores_exactly_what_was_acknowledged_once_each(cast: Cast) -> None:
    Sending.workshop = Workshop.opened(cast)
    run_state_machine_as_test(
        Sending,
        settings=settings(
            max_examples=12, stateful_step_count=15, deadline=None, suppress_health_check=list(HealthCheck)
        ),
    )
