"""A tablet without its page: it asks for the session and posts entries, as the page does, to a server of its own."""

from __future__ import annotations

import http.client
import json
from contextlib import closing
from typing import Any, NamedTuple
from urllib.parse import urlsplit

from django.conf import settings
from django.utils import timezone

from qcapp.config.benchmarks.real_server import session_of


class Answer(NamedTuple):
    """What came back: a status, and the body read as JSON."""

    status: int
    body: dict[str, Any]

    @property
    def outcomes(self) -> list[str]:
        return [one["outcome"] for one in self.body["operations"]]


class Tablet:
    """Signed in as a person; `to` another server of the same site by `at`."""

    def __init__(self, address: str, person: Any, name: str = "tablet 7") -> None:
        self.address, self.name, self.person = address, name, person
        self.cookie = f"{settings.SESSION_COOKIE_NAME}={session_of(person)}"

    def at(self, address: str) -> Tablet:
        """The same session at another server."""
        other = object.__new__(Tablet)
        other.address, other.name, other.person, other.cookie = address, self.name, self.person, self.cookie
        return other

    def get(self, path: str) -> Answer:
        return self._ask("GET", path)[0]

    def watched(self, path: str) -> Answer:
        """As a program asks that watches the server: it is nobody."""
        return self._ask("GET", path, head={"Cookie": ""})[0]

    def post(self, path: str, body: dict[str, Any]) -> Answer:
        """With a token of the session; the session's own refusal where that is not given."""
        session, cookies = self._ask("GET", "/api/v1/session")
        if session.status != 200:
            return session
        head = {"X-CSRFToken": session.body["csrf_token"], "Cookie": f"{self.cookie}; {cookies}"}
        return self._ask("POST", path, json.dumps(body), head)[0]

    def send(self, *operations: dict[str, Any]) -> Answer:
        """Entries to the one way in for results."""
        at = timezone.now().isoformat()
        return self.post("/api/v1/operations", {"device": self.name, "sent_at": at, "operations": list(operations)})

    def _ask(
        self, method: str, path: str, body: str | None = None, head: dict[str, str] | None = None
    ) -> tuple[Answer, str]:
        usual = {"Cookie": self.cookie, "Accept": "application/json", "Content-Type": "application/json"}
        line = http.client.HTTPConnection("127.0.0.1", urlsplit(self.address).port, timeout=90)
        with closing(line):
            line.request(method, path, body, usual | (head or {}))
            answer = line.getresponse()
            told = (answer.getheader("Set-Cookie") or "").partition(";")[0]
            return Answer(answer.status, json.loads(answer.read())), told
