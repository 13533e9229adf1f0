"""Messages, the queue, corrective actions, costs and field actions through the API."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone

from qcapp.lib.site_days import site_day
from qcapp.messages.services import tell

from ..cast import Cast
from ..factories.inspections import Workshop
from ..improvement.test_field import left

pytestmark = pytest.mark.django_db
RATE = {"rate_per_hour": "60.00", "currency": "EUR", "similar_count": 2, "similar_days": 30, "units_wanted": 2}


@pytest.fixture
def twice(workshop: Workshop) -> Workshop:
    """Two frames with the same thing out of band."""
    for number in (11, 12):
        unit = workshop.another_unit(f"FR-200-{number:04}")
        unit.send(unit.operation("head_angle", "62.40"))
    return workshop


def test_reads_messages_and_chooses_mail(cast: Cast, api_of: Any) -> None:
    tell(to=cast.engineer, subject="One", text="Look.", at=timezone.now())
    tell(to=cast.engineer, subject="Two", text="Look.", at=timezone.now())
    api = api_of(cast.engineer)
    found = api.get("messages")
    assert (found["unread"], [one["subject"] for one in found["messages"]]) == (2, ["Two", "One"])
    assert api.post(f"messages/{found['messages'][0]['id']}/read")["unread"] == 1
    assert api.get("messages", show="unread")["messages"][0]["subject"] == "One"
    assert api.post("messages/0/read")["unread"] == 0
    assert api.post("messages/mail", {"kinds": ["reminder"]})["kinds"] == ["reminder"]
    assert api.get("messages/mail")["kinds"] == ["reminder"]
    assert api.post("messages/999/read")["code"] == "message_unknown"
    keeper = api_of(cast.keeper)
    assert keeper.get("messages/undelivered")["undelivered"] == []
    assert keeper.post("messages/1/again")["code"] == "mail_unknown"


def test_gives_the_queue_by_what_waits(twice: Workshop, api_of: Any) -> None:
    api = api_of(twice.cast.customer_service)
    found = api.get("queue", waiting="inspector")
    assert [one["next"] for one in found["reports"]] == ["contain", "contain"]
    assert found["counts"]["open"] == 2
    assert api.get("queue", since="soon")["code"] == "date_unreadable"


def test_leads_a_corrective_action(twice: Workshop, api_of: Any) -> None:
    cast = twice.cast
    api = api_of(cast.quality_manager)
    assert api.post("improvement-settings", RATE) == RATE
    (similar,) = api.get("corrective-actions")["similar"]
    body = {"title": "Head angle", "problem": "Twice.", "basis": "checkpoint", "value": similar["value"]}
    number = api.post("corrective-actions", body | {"family": "FR-200"})["action"]["card"]["number"]
    assert api.status == 201
    assert api.post("corrective-actions", body | {"family": "FR-200"})["code"] == "nothing_similar"
    base = f"corrective-actions/{number}"
    assert api.post(f"{base}/agree")["code"] == "causes_missing"
    api.post(f"{base}/explain", {"whys": ["It opens."], "cause": "method"})
    today = site_day(timezone.now())
    due = {"text": "New clamp", "owner": cast.welder.badge, "due_on": str(today + timedelta(days=3))}
    step = api.post(f"{base}/steps", due)["action"]["steps"][0]["id"]
    assert api.post(f"{base}/agree")["action"]["card"]["state"] == "acting"
    welder = api_of(cast.welder)
    assert welder.post(f"{base}/move-step", {"step": step, "move": "do", "note": "Done."})["action"]["steps"]
    api.post(f"{base}/move-step", {"step": step, "move": "verify"})
    told = api.post(f"{base}/watch", {"effective_on": str(today)})
    assert told["effect"]["sentence"] == "Not enough units yet: 0 of 2."
    assert api.signed(f"{base}/close", note="Holds.")["code"] == "effect_not_enough"
    assert api.post(f"{base}/look-again", {"note": "No."})["action"]["card"]["state"] == "open"
    assert api.post(f"{base}/drop", {"note": "No."})["action"]["card"]["state"] == "dropped"
    assert api.post(f"{base}/accept")["code"] == "transition_not_allowed"
    assert api.post(f"{base}/reports", {"reports": ["NCR-1"]})["code"] == "action_ended"
    assert api.get("corrective-actions", state="dropped")["actions"][0]["number"] == number


def test_counts_and_costs(twice: Workshop, api_of: Any) -> None:
    api = api_of(twice.cast.quality_manager)
    report = api.get("queue")["reports"][0]["number"]
    cost = {"about": report, "what": "Straightened", "minutes": 30, "material": "1.50"}
    assert api.post("costs", cost)["code"] == "rate_not_set"
    api.post("improvement-settings", RATE)
    entry = api.post("costs", cost)["found"]["entries"][0]
    assert entry["cents"] == 3150
    assert api.get("costs", about=report)["found"]["by_cause"][0]["cents"] == 3150
    found = api.get("pareto", measure="cost")["found"]
    assert (found["total"], found["bars"][0]["count"], found["weeks"][-1]["count"]) == (3150, 2, 2)
    assert api.post("costs/take-back", {"entry": entry["id"], "reason": "Typed twice"})["found"]["entry"]
    assert api.status == 201
    assert api.get("pareto", by="weather")["code"] == "choice_unknown"
    assert api_of(twice.cast.welder).get("pareto")["code"] == "not_permitted"


def test_follows_a_field_action(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.quality_manager)
    number = api.post("field-actions", {"title": "Bolt", "reason": "May come loose."})["field_action"]["card"]["number"]
    base = f"field-actions/{number}"
    assert api.get(f"{base}/letters")["code"] == "letter_missing"
    told = {"serials": [left(workshop, 60)], "customer": "Orchard Lane Farm"}
    unit = api.post(f"{base}/units", told)["field_action"]["customers"][0]["units"][0]
    assert api.post(f"{base}/units", told)["code"] == "unit_listed"
    api.post(f"{base}/letter", {"subject": "Your trike", "text": "Dear customer"})
    service = api_of(workshop.cast.customer_service)
    found = service.post(f"{base}/follow", {"unit": unit["id"], "kind": "fine"})
    assert found["field_action"]["card"]["closed"] == 1
    assert api.get("field-actions")["field_actions"][0]["closed"] == 1
    assert api.get(base)["field_action"]["card"]["number"] == number
    assert api.get(f"{base}/letters").startswith(b"%PDF")
