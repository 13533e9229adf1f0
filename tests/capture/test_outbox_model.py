"""Any order of entries, kills, cut lines, lost answers, restored backups on two tablets: what was acknowledged, once.

The outbox is the tablet's own (`store.js`, `outbox.js` in Chromium, one origin for each tablet), the endpoint the real
one with its database, and between them a line that fails on command. tests/inspections/test_sending_model.py plays many
more examples with an outbox of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, ClassVar

import pytest
from django.utils import timezone
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from qcapp.inspections.services.projection import differences
from qcapp.lib.fields import uuid7

from .conftest import Shop, Tablet
from .wire import Wire

pytestmark = [pytest.mark.browser, pytest.mark.both_databases, pytest.mark.django_db(transaction=True)]
BADGES = ("1001", "1002")
TABLETS = st.integers(0, 1)
ANSWERS = {
    "pores": ({"count": 2}, "2"),
    "heat": ({"text": "7L0031"}, "7L0031"),
    "leak": ({"conforms": True}, "conforms"),
}
FATES = ("good", "cut before", "500 before", "cut after", "500 after")
# The tablet's modules, on a page that has none of its own.
LOAD = """async () => {
    window.store = await import("/static/capture/store.js");
    window.outbox = await import("/static/capture/outbox.js");
}"""
KEEP = "([operation, owner]) => window.store.keep({ operation, owner, name: owner })"
FLUSH = "() => window.outbox.flush()"
BEGIN_TO_FLUSH = "() => { window.outbox.flush(); }"
LEFT = "async () => [(await window.store.waiting()).length, (await window.store.refused()).length]"


class OnTablet:
    """One tablet at its own line, and what it has acknowledged: kept on its medium."""

    def __init__(self, one: Tablet, wire: Wire, badge: str) -> None:
        self.one, self.wire, self.badge = one, wire, badge
        self.acknowledged: set[str] = set()

    def begin(self) -> None:
        self.acknowledged = set()
        self.load()

    def load(self) -> None:
        self.one.page.goto(f"{self.wire.address}/sw.js")
        self.one.page.evaluate(LOAD)

    def finish(self) -> None:
        """The line is good again: everything goes out.

        Opened anew, the tablet asks for the session first, and hears of a restored server; with nothing left to send
        it would ask after 45 seconds of silence only.
        """
        self.wire.fates.clear()
        self.load()
        for _ in range(20):
            self.one.page.evaluate(FLUSH)
            if self.one.page.evaluate(LEFT) == [0, 0]:
                return
            self.one.page.wait_for_timeout(50)
        raise AssertionError(self.one.page.evaluate(LEFT))


class Sending(RuleBasedStateMachine):
    """Two tablets at one unit; every example has a unit of its own."""

    shop: ClassVar[Shop]
    tablets: ClassVar[list[OnTablet]]

    @initialize()
    def begin(self) -> None:
        self.revision = str(self.shop.next_unit().view().revision.uuid)
        for one in self.tablets:
            one.begin()

    @rule(which=TABLETS, key=st.sampled_from(sorted(ANSWERS)))
    def enter(self, which: int, key: str) -> None:
        one = self.tablets[which]
        answer, raw = ANSWERS[key]
        operation = {
            "id": str(uuid7()), "v": 1, "kind": "result", "serial": self.shop.serial, "revision": self.revision,
            "checkpoint": key, "round": 1, "inspection": 1, "purpose": "reading", "answer": answer, "raw": raw,
            "gauge": None, "recorded_at": timezone.now().isoformat(), "recorded_by": one.badge, "base": None,
            "reason": "",
        }  # fmt: skip
        one.one.page.evaluate(KEEP, [operation, one.badge])
        one.acknowledged.add(str(operation["id"]))

    @rule(which=TABLETS, fate=st.sampled_from(FATES))
    def send(self, which: int, fate: str) -> None:
        self.tablets[which].wire.fates.append(fate)
        self.tablets[which].one.page.evaluate(FLUSH)

    @rule(which=TABLETS)
    def killed_while_sending(self, which: int) -> None:
        """The page is gone before it hears what became of its request, and comes back."""
        one = self.tablets[which]
        one.one.page.evaluate(BEGIN_TO_FLUSH)
        one.load()

    @rule()
    def restored(self) -> None:
        """The server is set back to before this unit's results; the tablets hear of a new epoch."""
        self.shop.lose_results()

    @invariant()
    def holds_nothing_twice_and_nothing_that_was_not_entered(self) -> None:
        known = set().union(*(one.acknowledged for one in self.tablets))
        assert {str(row.operation) for row in self.stored()} <= known

    def stored(self) -> list[Any]:
        return list(self.shop._results().exclude(purpose="computed"))

    def teardown(self) -> None:
        for one in self.tablets:
            one.finish()
        stored = sorted((str(row.operation), row.person.badge) for row in self.stored())
        assert stored == sorted((one, tablet.badge) for tablet in self.tablets for one in tablet.acknowledged)
        assert differences() == []


@pytest.fixture
def two(tablet: Callable[..., Tablet], shop: Shop) -> Iterator[list[OnTablet]]:
    wires = [Wire(shop.address) for _ in BADGES]
    yield [
        OnTablet(tablet(badge, path="/sw.js", address=wire.address), wire, badge)
        for badge, wire in zip(BADGES, wires, strict=True)
    ]
    for wire in wires:
        wire.close()


def test_stores_what_two_tablets_acknowledged_once_each_whatever_happens(shop: Shop, two: list[OnTablet]) -> None:
    Sending.shop, Sending.tablets = shop, two
    told = {"max_examples": 6, "stateful_step_count": 12, "deadline": None}
    run_state_machine_as_test(Sending, settings=settings(**told, suppress_health_check=list(HealthCheck)))
