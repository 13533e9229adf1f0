"""The audit chain as a page. It stands here because the audit's own room knows no people and so no names."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from qcapp.audit import queries as chain
from qcapp.audit.services import utc_text
from qcapp.audit.verbs import Verb
from qcapp.lib.notes import note
from qcapp.lib.spoken import said

from . import queries
from .access import needs
from .roles import Act

LONGEST_NUMBER = 18  # digits that a 64-bit column still takes
# What an act may be about, followed by its name; the page says them in its language.
SUBJECTS = (
    "action", "batch", "certificate", "characteristic", "customer", "deciders", "delivery", "family", "field action",
    "fixture", "gauge", "gauge kind", "heat", "list", "lot", "mill certificate", "order", "permit", "person", "place",
    "plan", "procedure", "report", "signing key", "tablet", "unit",
)  # fmt: skip


@dataclass(frozen=True)
class ShownEntry:
    """One act in words."""

    number: int
    at: datetime
    what: str
    subject: str
    who: str
    details: tuple[tuple[str, str], ...]


@needs(Act.READ_AUDIT)
@require_GET
def audit(request: HttpRequest) -> HttpResponse:
    """The acts, newest first. `?about=` keeps those whose subject or verb holds a text, `?before=` pages
    back.
    """
    return _page(request, None)


@needs(Act.READ_AUDIT)
@require_POST
def check_audit(request: HttpRequest) -> HttpResponse:
    """The same page, after a walk over the whole chain and its anchors."""
    report = chain.check_chain()
    note("audit_checked", at=utc_text(timezone.now()), holds=report.holds, entries=report.entries)
    return _page(request, report)


def _page(request: HttpRequest, report: chain.ChainReport | None) -> HttpResponse:
    about = request.GET.get("about", "").replace("\0", "").strip()[:120]
    rows = chain.entries_page(
        fragment=_as_kept(about), before=_number(request.GET.get("before", "")), size=chain.PAGE + 1
    )
    shown = {
        "about": about,
        "entries": _shown(rows[: chain.PAGE]),
        "older_than": rows[chain.PAGE - 1].number if len(rows) > chain.PAGE else None,
        "head": chain.head(),
        "report": report,
        "checked_at": timezone.now() if report else None,
        "last_anchor": chain.last_anchor(),
    }
    return render(request, "people/audit.html", shown)


def _as_kept(about: str) -> str:
    """What was typed in the words of the page as the chain has it: Einheit FR-200-0147 is unit FR-200-0147."""
    typed = about.casefold()
    for verb in Verb:
        if typed == said(verb.replace(".", " ").replace("_", " ")).casefold():
            return verb.value
    for kind in SUBJECTS:
        words = said(f"{kind} X X").casefold().removesuffix("x x")
        if typed.startswith(words):
            return f"{kind} {about[len(words) :]}"
    return about


def _number(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) <= LONGEST_NUMBER else None


def _shown(rows: Iterable[chain.EntryRow]) -> list[ShownEntry]:
    rows = list(rows)
    names = queries.names_of(row.actor for row in rows if row.actor)
    return [
        ShownEntry(
            number=row.number,
            at=row.at,
            what=row.verb.replace(".", " ").replace("_", " "),
            subject=row.subject,
            who=names.get(row.actor, "") or ("the system" if not row.actor else row.actor),
            details=tuple(_details(row.payload)),
        )
        for row in rows
    ]


def _details(payload: Mapping[str, object], before: str = "") -> Iterator[tuple[str, str]]:
    """What an act says of itself, by name; what is empty says nothing, and of a change each field stands by itself."""
    for key, value in payload.items():
        name = key.replace("_", " ")
        if isinstance(value, dict):
            yield from _details(value, f"{name}, ")
        elif value not in ("", []):
            yield f"{before}{name}", _short(value)


def _short(value: object) -> str:
    """A payload's value in one line; lists by their length, because a submission may hold hundreds."""
    if isinstance(value, list):
        return f"{len(value)} entries" if len(value) > 3 else ", ".join(map(str, value))
    if isinstance(value, bool) or value is None:
        return {True: "yes", False: "no", None: "–"}[value]
    text = str(value)
    return text if len(text) <= 120 else text[:119] + "…"
