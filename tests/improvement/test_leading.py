"""Leading a corrective action: causes, steps, what each refuses, and reminders."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command

from qcapp.improvement.queries.actions import steps_for
from qcapp.improvement.services import leading
from qcapp.improvement.services.reminding import follow_up, remind_of_queues, remind_of_steps
from qcapp.messages.queries import inbox
from qcapp.people.models import Person

from ..factories.improvement import LATER, WHYS, Led
from ..factories.nonconformance import Case
from ..unchanged import refused

pytestmark = pytest.mark.django_db


def subjects(person: Person) -> list[str]:
    return [one.subject for one in inbox(person).messages]


def test_keeps_the_chain_of_causes_and_the_one_before_it(led: Led) -> None:
    led.explain()
    leading.explain(by=led.cast.engineer, number=led.number, whys=["Shorter."], cause="method", at=LATER)
    assert (led.view.whys, led.view.cause, led.view.whys_by) == (("Shorter.",), "method", "Leopold Tarn")


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"whys": []}, "whys_missing"),
        ({"whys": ["  ", ""]}, "whys_missing"),
        ({"whys": ["why"] * 9}, "whys_missing"),
        ({"cause": "weather"}, "cause_unknown"),
        ({"whys": ["x" * 301]}, "text_too_long"),
    ],
)
def test_refuses_a_chain_that_is_none(led: Led, changes: dict[str, Any], code: str) -> None:
    told = {"whys": WHYS, "cause": "machine"} | changes
    with refused(code, "improvement"):
        leading.explain(by=led.cast.engineer, number=led.number, at=LATER, **told)


def test_tells_the_owner_of_a_step_whatever_their_role(led: Led) -> None:
    step = led.step()
    assert subjects(led.cast.welder) == [f"{led.number}: a step for you, due 22 Mar 2026"]
    assert [(about.number, one.id) for about, one in steps_for(led.cast.welder)] == [(led.number, step)]
    led.move(step, "do", led.cast.welder)
    assert steps_for(led.cast.welder) == []


def test_refuses_a_step_due_in_the_past_or_for_nobody(led: Led) -> None:
    with refused("due_in_the_past", "improvement", "shop_messages"):
        led.step(due_on=LATER.date() - timedelta(days=1))
    with refused("badge_unknown", "improvement", "shop_messages"):
        led.step(owner_badge="9999")


def test_lets_nobody_do_the_step_of_another_or_verify_their_own(led: Led) -> None:
    step = led.step()
    with refused("not_permitted", "improvement"):
        led.move(step, "do", led.cast.inspector)
    led.move(step, "do", led.cast.engineer)
    with refused("own_step", "improvement"):
        led.move(step, "verify", led.cast.engineer)
    with refused("not_permitted", "improvement"):
        led.move(step, "verify", led.cast.welder)
    with refused("text_missing", "improvement"):
        led.move(step, "send_back", led.cast.quality_manager, note=" ")
    with refused("step_unknown", "improvement"):
        led.move(step + 1, "verify", led.cast.quality_manager)


def test_agrees_only_with_causes_and_a_step(led: Led) -> None:
    with refused("causes_missing", "improvement"):
        led.agree()
    led.explain()
    with refused("steps_missing", "improvement"):
        led.agree()
    step = led.step()
    led.move(step, "cancel", led.cast.quality_manager)
    with refused("steps_missing", "improvement"):
        led.agree()
    led.step()
    assert led.agree().state == "acting"


def test_watches_only_what_is_done_and_verified(led: Led) -> None:
    led.acting()
    with refused("steps_not_verified", "improvement"):
        led.watch()
    led.done()
    for wrong in (LATER.date() + timedelta(days=1), LATER.date() - timedelta(days=1)):
        with refused("day_out_of_range", "improvement"):
            led.watch(wrong)
    with refused("number_out_of_range", "improvement"):
        led.watch(units=1)
    assert led.watch().view.card.units_wanted == 5


def test_gives_an_accepted_action_to_somebody_who_may_lead_it(thrice: Any) -> None:
    from qcapp.improvement.services.opening import propose_by_threshold

    (number,) = propose_by_threshold(at=LATER)
    cast = thrice.cast
    with refused("not_permitted", "improvement"):
        leading.accept(by=cast.quality_manager, number=number, owner_badge=cast.welder.badge, at=LATER)
    leading.accept(by=cast.quality_manager, number=number, owner_badge=cast.engineer.badge, at=LATER)
    assert subjects(cast.engineer)[0] == f"{number} is yours to lead"


def test_takes_nothing_for_an_action_that_ended(led: Led) -> None:
    led.drop()
    for act in (led.explain, led.step):
        with refused("action_ended", "improvement", "shop_messages"):
            act()  # type: ignore[operator]


def test_reminds_soon_on_the_day_and_weekly_when_late(led: Led) -> None:
    step = led.step()  # due in five days
    heard = []
    for days in range(22):
        remind_of_steps(at=LATER + timedelta(days=days))
        remind_of_steps(at=LATER + timedelta(days=days, hours=2))
        heard.append(len(subjects(led.cast.welder)) - 1)
    assert [day for day in range(1, 22) if heard[day] > heard[day - 1]] == [2, 5, 6, 12, 19]
    assert subjects(led.cast.welder)[0] == f"{led.number}: a step of yours is 14 days late"
    led.move(step, "do", led.cast.welder)
    assert remind_of_steps(at=LATER + timedelta(days=40)) == 0


def test_reminds_a_role_weekly_of_what_waits_too_long(led: Led) -> None:
    cast = led.cast
    assert cast.inspector
    assert remind_of_queues(at=LATER) == 0
    late = LATER + timedelta(days=9)
    for _ in range(2):
        assert remind_of_queues(at=late) == 2
    told = [one for one in subjects(cast.quality_manager) if "waiting" in one]
    assert told == ["3 reports waiting for the quality manager longer than 7 days"]
    (message,) = [one for one in inbox(cast.inspector).messages if "waiting" in one.subject]
    assert message.link == "/nonconformances/?waiting=inspector&order=longest"


def test_follows_up_by_a_command(thrice: Any, monkeypatch: pytest.MonkeyPatch, capsys: Any) -> None:
    monkeypatch.setattr("django.utils.timezone.now", lambda: LATER)
    call_command("follow_up")
    assert "1 proposed (CA-2026-0001)" in capsys.readouterr().out
    assert follow_up(at=LATER).proposed == ()


def test_reminds_of_nothing_where_nothing_waits(case: Case) -> None:
    assert follow_up(at=LATER).steps == 0


@pytest.fixture
def case(workshop: Any) -> Case:
    return Case.out_of_band(workshop)
