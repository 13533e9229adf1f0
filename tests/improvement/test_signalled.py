"""A chart's signal turned into a corrective action, which acknowledges the signal with its number."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from django.test import Client

from qcapp.improvement.cards import Signalled
from qcapp.improvement.queries.actions import action
from qcapp.improvement.services.signalled import open_action_for_signal
from qcapp.people.models import Person
from qcapp.trends.queries import signals_of, watch_of
from qcapp.trends.queries.watching import forget

from ..cast import Cast
from ..trends.line import FAMILY, Line, measured
from ..unchanged import refused, unchanged

pytestmark = pytest.mark.django_db
ROOMS = ("improvement", "trends")


@pytest.fixture
def line(cast: Cast) -> Line:
    """A family whose last unit lies far above the control limit."""
    forget()
    made = Line.with_plan(cast, measured())
    draw = random.Random(1)
    made.play("size", [f"{draw.gauss(50, 1):.3f}" for _ in range(30)])
    made.play("size", ["59.500"])
    return made


def waiting() -> Signalled:
    one = signals_of(FAMILY, "size").waiting[0]
    return Signalled(FAMILY, "size", one.rule, one.fixture, one.first_serial)


def test_opens_an_action_for_the_checkpoint_and_acknowledges_the_signal(line: Line) -> None:
    about = waiting()
    by = line.cast.quality_manager
    number = open_action_for_signal(by=by, about=about, title="Loose clamp", problem="One far above.", at=line.at)
    view = action(number)
    assert (view.card.title, view.card.family_code, list(view.reports)) == ("Loose clamp", FAMILY, [])
    assert view.card.basis == "checkpoint"
    (said,) = signals_of(FAMILY, "size").acknowledged
    assert (said.action, said.reason) == (number, f"Corrective action {number}: Loose clamp")
    assert watch_of(FAMILY).entries[0].why == "acknowledged"


def test_opens_nothing_for_a_signal_that_does_not_wait_or_twice_for_a_checkpoint(line: Line) -> None:
    about, by = waiting(), line.cast.quality_manager
    gone = Signalled(FAMILY, "size", about.rule, about.fixture, line.serials[0])
    with refused("no_such_signal", *ROOMS):
        open_action_for_signal(by=by, about=gone, title="Clamp", problem="Far above.", at=line.at)
    with refused("not_permitted", *ROOMS):
        open_action_for_signal(by=line.cast.inspector, about=about, title="Clamp", problem="Far above.", at=line.at)
    open_action_for_signal(by=by, about=about, title="Clamp", problem="Far above.", at=line.at)
    with refused("action_running", *ROOMS):
        open_action_for_signal(by=by, about=about, title="Clamp", problem="Far above.", at=line.at)


def test_leads_from_the_signal_to_the_action(line: Line, client_of: Callable[[Person], Client]) -> None:
    client = client_of(line.cast.quality_manager)
    page = client.get(f"/trends/{FAMILY}/size/decisions/").text
    address = page.split('href="/improvement/actions/signal/?')[1].split('"')[0].replace("&amp;", "&")
    form = client.get(f"/improvement/actions/signal/?{address}")
    assert line.serials[-1] in form.text
    about = waiting()
    sent = {name: getattr(about, name) for name in ("family_code", "key", "rule", "fixture", "first_serial")}
    answer = client.post("/improvement/actions/signal/", sent | {"title": "Clamp", "problem": "Far above."})
    assert answer.headers["Location"] == "/improvement/actions/CA-2026-0001/"
    assert client.get(answer.headers["Location"]).status_code == 200
    after = client.get(f"/trends/{FAMILY}/size/decisions/").text
    assert "Corrective action CA-2026-0001." in after
    assert client.get(f"/improvement/actions/signal/?{address}").status_code == 409
    inspector = client_of(line.cast.engineer).get(f"/trends/{FAMILY}/size/decisions/").text
    assert "Turn it into" not in inspector


def test_opens_the_action_by_the_api(line: Line, client_of: Callable[[Person], Client]) -> None:
    about, address = waiting(), f"/api/v1/trends/{FAMILY}/size/actions"
    sent = {"rule": about.rule, "fixture": about.fixture, "first_serial": about.first_serial}
    told = {"content_type": "application/json", "data": sent | {"title": "Clamp", "problem": "Far above."}}
    with unchanged(*ROOMS):
        answer = client_of(line.cast.inspector).post(address, **told)
        assert (answer.status_code, answer.json()["code"]) == (403, "not_permitted")
    answer = client_of(line.cast.quality_manager).post(address, **told)
    assert (answer.status_code, answer.json()) == (201, {"number": "CA-2026-0001"})
    assert signals_of(FAMILY, "size").waiting == ()
