"""A shift at once: thirty tablets send a batch every two seconds for a minute, to the real server.

Each does what the page does: it asks for the session, then sends. One batch in twenty is sent again, as after an answer
that was lost.
"""

from __future__ import annotations

import http.client
import json
import random
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from django.apps import apps
from django.conf import settings
from django.db import connections

from qcapp.people.roles import Role

from .dataset import SEED, Shop
from .main_path import submission_body
from .real_server import RealServer, session_of
from .registry import Effort, Measurement

TABLETS, INSPECTORS, EVERY, BATCH, AGAIN = 30, 2, 2.0, 5, 0.05
DEVICE = "tablet-load"
FIRST = 9600  # running number of the first frame
MOST_MS = 300
JSON = {"Content-Type": "application/json"}


def shift(shop: Shop, kind: str, effort: Effort) -> Iterator[Measurement]:
    """Errors, p95 of a batch, and whether each operation is stored exactly once."""
    with RealServer() as server:
        tablets = _tablets(shop, server.port, effort.of(TABLETS))
        taken = _work(tablets, effort.seconds)
    yield from _told(tablets, taken, kind)


@dataclass
class Tablet:
    """One tablet with a frame of its own; it sends the frame's operations in batches, and its clock goes on."""

    port: int
    cookie: str
    bodies: list[dict[str, Any]]
    pick: random.Random
    sent: list[str] = field(default_factory=list)
    took: list[float] = field(default_factory=list)
    errors: Counter[str] = field(default_factory=Counter)

    def work(self, begin: float, seconds: float) -> None:
        """Send a batch every EVERY seconds from a moment of its own on; how long one took counts from when it was
        due, so that a slow answer does not hide those that wait behind it.
        """
        due = begin + self.pick.random() * EVERY
        while due < begin + seconds and self.bodies:
            time.sleep(max(0.0, due - time.monotonic()))
            self._send(due)
            due += EVERY

    def _send(self, due: float) -> None:
        body = self.bodies.pop(0)
        for _ in range(2 if self.pick.random() < AGAIN else 1):
            try:
                outcomes = self._exchange(body)
            except (OSError, http.client.HTTPException, ValueError) as error:
                self.errors[type(error).__name__] += 1
                return
            if outcomes - {"applied", "duplicate"}:
                self.errors.update(outcomes)
        self.took.append((time.monotonic() - due) * 1000)
        self.sent += [one["id"] for one in body["operations"]]

    def _exchange(self, body: dict[str, Any]) -> set[str]:
        line = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        with closing(line):
            head = {"Cookie": self.cookie, "Accept": "application/json"}
            line.request("GET", f"/api/v1/session?unsent={len(body['operations'])}", headers=head)
            answer = line.getresponse()
            secret = answer.getheader("Set-Cookie") or ""
            token = json.loads(answer.read())["csrf_token"]
            head |= JSON | {"X-CSRFToken": token, "Cookie": f"{self.cookie}; {secret.partition(';')[0]}"}
            line.request("POST", "/api/v1/operations", json.dumps(body), head)
            answer = line.getresponse()
            found = json.loads(answer.read())
        return {one["outcome"] for one in found["operations"]} if answer.status == 200 else {str(answer.status)}


def _tablets(shop: Shop, port: int, count: int) -> list[Tablet]:
    inspectors = [shop.person(Role.INSPECTOR, index) for index in range(INSPECTORS)]
    made = []
    for place, frame in enumerate(shop.open_frames(FIRST, count)):
        inspector = inspectors[place % len(inspectors)]
        whole = submission_body(shop, frame, inspector)
        operations = whole["operations"]
        bodies = [
            whole | {"device": f"{DEVICE}-{place}", "operations": operations[at : at + BATCH]}
            for at in range(0, len(operations), BATCH)
        ]
        cookie = f"{settings.SESSION_COOKIE_NAME}={session_of(inspector)}"
        made.append(Tablet(port, cookie, bodies, random.Random(SEED + place)))  # noqa: S311 - when a tablet sends
    return made


def _work(tablets: list[Tablet], seconds: float) -> float:
    begin = time.monotonic() + 0.2
    threads = [threading.Thread(target=tablet.work, args=(begin, seconds)) for tablet in tablets]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    connections.close_all()
    return time.monotonic() - begin


def _told(tablets: list[Tablet], taken: float, kind: str) -> Iterator[Measurement]:
    took = [one for tablet in tablets for one in tablet.took]
    errors = sum((tablet.errors for tablet in tablets), Counter())
    sent = [one for tablet in tablets for one in tablet.sent]
    name = f"{len(tablets)} tablets, a batch of {BATCH} every {EVERY:g} s"
    p95 = float(np.quantile(took, 0.95)) if took else float("inf")
    against = f"{len(took)} batches in {taken:.0f} s, median {float(np.median(took or [0])):.0f} ms, on {kind}"
    goal = f"below {MOST_MS} ms" if kind.startswith("PostgreSQL") else ""
    yield Measurement(f"{name}: p95", p95, "ms", None, None, goal, p95 < MOST_MS if goal else None, against)
    wrong = ", ".join(f"{count} × {what}" for what, count in errors.items())
    yield Measurement(f"{name}: errors", errors.total(), "", None, None, "none", not errors, wrong)
    amiss = _not_once(sent)
    told = f"{len(sent)} operations sent, some batches twice"
    yield Measurement(f"{name}: not stored exactly once", amiss, "", None, None, "none", amiss == 0, told)


def _not_once(sent: list[str]) -> int:
    """How many of the acknowledged operations are stored otherwise than once, and how many others are there."""
    results = apps.get_model("inspections.Result").objects.filter(device__startswith=DEVICE)
    results = results.exclude(purpose="computed")
    stored = Counter(str(one) for one in results.values_list("operation", flat=True))
    return sum(stored[one] != 1 for one in sent) + len(stored.keys() - set(sent))
