"""A program that speaks the REST API and knows nothing else: it signs in, reads the bench, answers and signs.

The people, gauges and families of the demonstration stand around it; they have no addresses in the API.
"""

from __future__ import annotations

import base64
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from decimal import ROUND_HALF_EVEN, Decimal
from pathlib import Path
from typing import Any

from django.test import Client
from django.utils import timezone

from qcapp.config.demonstration import cast as demo
from qcapp.config.demonstration.drawn_photos import stand_in
from qcapp.config.demonstration.stories import FAMILIES
from qcapp.lib.fields import uuid7

PLANS = Path(__file__).resolve().parents[2] / "fixtures" / "plans"
INSPECTOR, SECOND, THIRD, WELDER, WELDING = "1001", "1002", "1003", "1005", "1012"
AUTHOR, MANAGER, ENGINEER, SERVICE = "1010", "1009", "1011", "1013"  # the author of plans is a quality manager too

Json = dict[str, Any]


def set_up_shop() -> demo.Cast:
    """The demonstration's people and gauges, and its part families without plans, added through the API as well."""
    now = timezone.now()
    begin = now - timedelta(days=90)
    cast = demo.make_people(begin)
    demo.make_gauges(cast, begin, now)
    author = Caller(AUTHOR)
    for code, name, pattern, prefix, _ in FAMILIES:
        author.do("families", code=code, name=name, serial_pattern=pattern, certificate_prefix=prefix)
    return cast


@dataclass
class Reply:
    """What the server answered."""

    status: int
    body: Json
    content: bytes

    @property
    def code(self) -> str:
        return str(self.body.get("code", ""))


class Caller:
    """One person's program, with a session and a token, as any other program has them."""

    def __init__(self, badge: str, password: str = demo.PASSWORD) -> None:
        self.badge = badge
        self.client = Client(enforce_csrf_checks=True, raise_request_exception=False)
        self.token = str(self.get("session").body["csrf_token"])
        reply = self.post("session", badge=badge, password=password)
        assert reply.status == 200, reply.body
        self.token = reply.body["csrf_token"]

    def get(self, path: str, **query: str) -> Reply:
        return _reply(self.client.get(f"/api/v1/{path}", query))

    def post(self, path: str, **body: Any) -> Reply:
        return self.send(path, body)

    def send(self, path: str, body: Any, content_type: str = "application/json") -> Reply:
        """As `post`, with any body and any type."""
        headers = {"X-CSRFToken": self.token}
        return _reply(self.client.post(f"/api/v1/{path}", body, content_type=content_type, headers=headers))

    def do(self, path: str, **body: Any) -> Json:
        """What the server answers to an act that has to succeed."""
        reply = self.post(path, **body)
        assert reply.status in (200, 201), (path, reply.body)
        return reply.body

    def sign(self, path: str, **body: Any) -> Json:
        return self.do(path, pin=demo.PIN, **body)

    # --------------------------------------------------------------------------------------------- the bench

    def bench(self, serial: str) -> Json:
        reply = self.get(f"units/{serial}/bench")
        assert reply.status == 200, reply.body
        return reply.body

    def operation(self, bench: Json, checkpoint: Json, **changes: Any) -> Json:
        """An answer to a checkpoint of the bench as it was shown to this person: one that conforms."""
        inspection = {"second": 2, "third": 3}.get(checkpoint["task"], 1)
        return {
            "id": str(uuid7()),
            "v": 1,
            "kind": "result",
            "serial": bench["unit"]["serial"],
            "revision": bench["revision"]["uuid"],
            "checkpoint": checkpoint["key"],
            "round": checkpoint["round"],
            "inspection": inspection,
            "purpose": "reading",
            "answer": good_answer(checkpoint, bench["unit"]["serial"]),
            "raw": "",
            "gauge": gauge_for(checkpoint, bench["gauges"]),
            "recorded_at": timezone.now().isoformat(),
            "recorded_by": self.badge,
            "base": None,
            "reason": "",
        } | changes

    def submit(self, operations: Iterable[Json]) -> list[Json]:
        body = self.do("operations", device="program of a test", operations=list(operations))
        answers: list[Json] = body["operations"]
        return answers

    def answer_stage(self, serial: str, stage: int, answers: dict[str, Json] | None = None) -> list[Json]:
        """Everything that the bench asks of this person in a stage, in one request; `answers` go before good ones."""
        bench = self.bench(serial)
        asked = [c for c in bench["checkpoints"] if c["stage"] == stage and c["task"] in ("first", "second", "third")]
        changes = [{"answer": answers[c["key"]]} if answers and c["key"] in answers else {} for c in asked]
        given = [self.operation(bench, c, **change) for c, change in zip(asked, changes, strict=True)]
        said = self.submit(given) if given else []
        for one in asked:
            if one["photo"] and not one["photo_taken"]:
                self._photograph(serial, one)
        return said

    def _photograph(self, serial: str, checkpoint: Json) -> None:
        """The photo that the plan asks for at a checkpoint."""
        content = base64.b64encode(stand_in([checkpoint["title"], serial])).decode()
        self.do(
            "photos", id=str(uuid7()), serial=serial, checkpoint=checkpoint["key"], round=checkpoint["round"],
            inspection=1, device="program of a test", recorded_at=timezone.now().isoformat(), content=content,
            name="stamp.jpg",
        )  # fmt: skip


def _reply(response: Any) -> Reply:
    is_json = response.headers.get("Content-Type", "").startswith("application/json")
    body = response.json() if is_json and response.content else {}
    return Reply(response.status_code, body, response.content)


# ----------------------------------------------------------------------------------------------------- answers


def good_answer(checkpoint: Json, serial: str) -> Json:
    """An answer in the middle of what the bench shows as asked for."""
    kind = checkpoint["kind"]
    if kind == "attribute":
        return {"conforms": True}
    if kind == "count":
        least, most = checkpoint["count_at_least"], checkpoint["count_at_most"]
        return {"count": int(most if most is not None else least or 0)}
    if kind == "record":
        return {"text": _text(checkpoint, serial)}
    value = _middle(checkpoint)
    readings = checkpoint["readings"]
    return {"value": value} if readings == 1 else {"values": [value] * readings}


def _text(checkpoint: Json, serial: str) -> str:
    if checkpoint["form"] == "date":
        return (timezone.now() - timedelta(days=9)).date().isoformat()
    return {"heat": "7K4412", "serial": serial}.get(checkpoint["form"], "sheet 12")


def _middle(checkpoint: Json) -> str:
    band = checkpoint["band"]
    lower, upper = (None if band[side] is None else Decimal(band[side]) for side in ("lower", "upper"))
    if lower is not None and upper is not None:
        value = (lower + upper) / 2
    else:
        value = lower * Decimal("1.2") if lower is not None else (upper or Decimal(0)) * Decimal("0.4")
    step = Decimal(1).scaleb(-int(checkpoint["decimals"] or 0))
    return format(value.quantize(step, ROUND_HALF_EVEN), "f")


def gauge_for(checkpoint: Json, gauges: list[Json]) -> str | None:
    """The first usable gauge of a kind that the checkpoint asks for, which reaches a good value where one does."""
    fitting = [g for g in gauges if g["usable"] and g["kind"] in checkpoint["gauge_kinds"]]
    value = Decimal(_middle(checkpoint)) if checkpoint["kind"] == "measured" else None
    fitting.sort(key=lambda gauge: value is not None and not _reaches(gauge, value))
    return fitting[0]["number"] if fitting else None


def _reaches(gauge: Json, value: Decimal) -> bool:
    lower, upper = gauge["range_lower"], gauge["range_upper"]
    return (lower is None or Decimal(lower) <= value) and (upper is None or value <= Decimal(upper))


# ------------------------------------------------------------------------------------------------------- plans


def release_plan(family: str, letter: str, text: str | None = None) -> Json:
    """The family's plan file imported, approved by the engineer and released by another quality manager."""
    author, engineer, manager = Caller(AUTHOR), Caller(ENGINEER), Caller(MANAGER)
    text = text or (PLANS / f"{family}.csv").read_text(encoding="utf-8")
    plan = author.do("plans", family=family, letter=letter, text=text, change_note="First issue.")
    author.do(f"plans/{plan['uuid']}/review")
    engineer.sign(f"plans/{plan['uuid']}/approve")
    return manager.sign(f"plans/{plan['uuid']}/release")
