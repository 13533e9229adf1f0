"""How the system fares, fact by fact: a state, a sentence, and what to do. The keeper's page and the metrics read it.

The limits of days and shares are common practice, no source: a backup a day, a look at it a week.
"""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from time import perf_counter
from typing import Any

import django
from django.conf import settings
from django.db import connection
from django.db.models import Count, Min
from django_tasks_db.models import DBTaskResult

from qcapp.audit.anchor_mail import mailed_at
from qcapp.audit.queries import head, last_anchor
from qcapp.certificates.queries import notices_waiting, published_keys
from qcapp.gauges.queries import all_gauges
from qcapp.lib.notes import notes
from qcapp.messages.queries import mail_counts
from qcapp.people.queries import tablet_cards

GOOD, NEAR, OUT = "good", "near", "out"
DAY = timedelta(days=1)
GIGABYTE = 1024**3
SIZE = {
    "postgresql": "SELECT pg_database_size(current_database())",
    "sqlite": "SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()",
}
UNITS = ((24 * 60, "day"), (60, "hour"), (1, "minute"))


@dataclass(frozen=True)
class Fact:
    """One thing that is watched. `numbers` are its metrics: name without prefix, and value; `each` those of several
    things of a kind: name, what tells them apart, and the value of each.
    """

    name: str
    title: str
    state: str
    words: str
    todo: str = ""
    numbers: dict[str, float] = field(default_factory=dict)
    each: tuple[str, str, dict[str, float]] | None = None


def facts(at: datetime) -> list[Fact]:
    """Everything that is watched, in the order in which a keeper reads it."""
    return [watch(at) for watch in WATCHED]


def backups(at: datetime) -> Fact:
    """The last backup that was made here."""
    return _aged("backup", "Last backup", "backup_made", at, (DAY * 1.25, DAY * 7), "Make one: manage.py backup.")


def verification(at: datetime) -> Fact:
    """The last backup that was read back."""
    todo = "Read one back: manage.py backup --verify, on another machine at times."
    return _aged("verification", "Last backup read back", "backup_verified", at, (DAY * 8, DAY * 40), todo)


def audit_check(at: datetime) -> Fact:
    """The last walk over the chain."""
    todo = "Check it: the page Audit, or manage.py verify_audit."
    fact = _aged("audit_check", "Audit chain checked", "audit_checked", at, (DAY * 8, DAY * 40), todo)
    if notes().get("audit_checked", {}).get("holds", True):
        return fact
    todo = "Run manage.py verify_audit: it names the first broken entry. Keep everything as it is and compare a backup."
    return Fact("audit_check", fact.title, OUT, f"{fact.words} It did not hold.", todo, fact.numbers)


def evidence_check(at: datetime) -> Fact:
    """The last comparison of the evidence files with their digests."""
    todo = "Compare them: manage.py check_evidence."
    fact = _aged("evidence_check", "Evidence files checked", "evidence_checked", at, (DAY * 32, DAY * 100), todo)
    if notes().get("evidence_checked", {}).get("holds", True):
        return fact
    todo = "Run manage.py check_evidence and restore what it names from a backup."
    return Fact("evidence_check", fact.title, OUT, f"{fact.words} Files were missing or altered.", todo, fact.numbers)


def anchors(at: datetime) -> Fact:
    """The last anchor of the chain."""
    last, newest = last_anchor(), head()
    entries = newest.number
    numbers = {"audit_entries": float(entries)}
    if last is None:
        words = f"{entries} entries, no anchor yet."
        return Fact("anchors", "Audit anchors", NEAR, words, "Write one: manage.py anchor_audit.", numbers)
    age = at - datetime.fromisoformat(last.at)
    words = f"The last one is {in_words(age)} old, at entry {last.number} of {entries}."
    # Over a week without work nothing comes that a new anchor could hold.
    whole = (last.epoch, last.number, last.digest) == (newest.epoch, entries, newest.digest)
    state = GOOD if whole or age < DAY * 1.25 else NEAR
    todo = "" if state == GOOD else "See that qcapp-anchors.timer runs."
    return Fact("anchors", "Audit anchors", state, words, todo, numbers | {"anchor_age_seconds": age.total_seconds()})


def anchor_mail(at: datetime) -> Fact:
    """The last anchor that went out by e-mail, where somebody is named for it."""
    title, mailed = "Anchors by e-mail", mailed_at()
    if not settings.QCAPP_ANCHOR_MAIL:
        return Fact("anchor_mail", title, GOOD, "No address is named for them.")
    todo = "Run manage.py anchor_audit --mail: it says what the mail server answers."
    if mailed is None:
        return Fact("anchor_mail", title, NEAR, "None was mailed yet.", todo)
    age = at - mailed
    words = f"The last one went out {in_words(age)} ago."
    state = GOOD if age < DAY * 2.25 else NEAR
    numbers = {"anchor_mail_age_seconds": age.total_seconds()}
    return Fact("anchor_mail", title, state, words, "" if state == GOOD else todo, numbers)


def tablets(at: datetime) -> Fact:
    """What the tablets have not sent."""
    used = [card for card in tablet_cards() if card.enrolled_at and not card.revoked_at]
    late = [card for card in used if card.unsent]
    since = [card.unsent_since for card in late if card.unsent_since]
    oldest = at - min(since) if since else timedelta()
    numbers = {
        "tablets": float(len(used)),
        "tablet_unsent_entries": float(sum(card.unsent for card in late)),
        "tablet_oldest_unsent_seconds": oldest.total_seconds(),
    }
    each = ("tablet_unsent", "tablet", {card.name: float(card.unsent) for card in used})
    if not late:
        words = f"{len(used)} in use, nothing unsent at their last contact."
        return Fact("tablets", "Tablets", GOOD, words, "", numbers, each)
    held = ", ".join(f"{card.name} {card.unsent}" for card in late[:5])
    words = f"Not sent: {held}. The oldest entry waits for {in_words(oldest)}."
    state = GOOD if oldest < timedelta(hours=8) else NEAR if oldest < DAY * 3 else OUT
    todo = "" if state == GOOD else "Bring the tablet to the network, or save its unsent entries to a file on its page."
    return Fact("tablets", "Tablets", state, words, todo, numbers, each)


def mail(at: datetime) -> Fact:
    """E-mail that was not taken."""
    counts = mail_counts()
    numbers = {f"mail_{kind}": float(count) for kind, count in counts.items()}
    if not counts["undelivered"]:
        return Fact("mail", "E-mail", GOOD, f"{counts['waiting']} wait for their first try, none failed.", "", numbers)
    words = f"{counts['undelivered']} e-mails were tried and not taken."
    return Fact(
        "mail", "E-mail", NEAR, words, "See Messages, Undelivered e-mail: it shows what the server said.", numbers
    )


def notices(at: datetime) -> Fact:
    """What another system has not been told about certificates."""
    count, oldest = notices_waiting()
    age = at - oldest if oldest else timedelta()
    numbers = {"notices_waiting": float(count), "notice_oldest_seconds": age.total_seconds()}
    state = GOOD if age < timedelta(minutes=10) else NEAR if age < DAY else OUT
    words = f"{count} wait, the oldest for {in_words(age)}." if count else "None waits."
    todo = "" if state == GOOD else "See that qcapp-notices.timer runs and that the address answers."
    return Fact("notices", "Notices about certificates", state, words, todo, numbers)


def queue(at: datetime) -> Fact:
    """Work in the background."""
    waiting = DBTaskResult.objects.filter(status="READY").aggregate(n=Count("*"), old=Min("enqueued_at"))
    failed = DBTaskResult.objects.filter(status="FAILED", finished_at__gte=at - DAY * 7).count()
    age = at - waiting["old"] if waiting["old"] else timedelta()
    numbers = {"tasks_waiting": float(waiting["n"]), "tasks_failed_week": float(failed)}
    words = f"{waiting['n']} tasks wait, {failed} failed in the last seven days."
    late = age > timedelta(minutes=10)
    todo = "Start qcapp-worker@1: tasks wait for longer than ten minutes." if late else ""
    todo = todo or ("Look into the worker's log for the reason." if failed else "")
    return Fact("queue", "Work in the background", NEAR if todo else GOOD, words, todo, numbers)


def calibrations(at: datetime) -> Fact:
    """Gauges past their date."""
    cards = all_gauges(at)
    overdue = [card.number for card in cards if card.reason == "gauge_overdue"]
    numbers = {"gauges": float(len(cards)), "gauges_overdue": float(len(overdue))}
    if not overdue:
        return Fact("calibrations", "Calibrations", GOOD, "No gauge in use is overdue.", "", numbers)
    named = ", ".join(overdue[:6]) + (" …" if len(overdue) > 6 else "")
    words = f"{len(overdue)} overdue: {named}."
    return Fact("calibrations", "Calibrations", NEAR, words, "Tell metrology; the bench refuses them already.", numbers)


def signing_key(at: datetime) -> Fact:
    """How long the key that signs certificates is valid."""
    newest = next(iter(published_keys()), None)
    if newest is None:
        words = "No key signs certificates yet."
        return Fact("signing_key", "Signing key", NEAR, words, "Make one: manage.py make_signing_key.")
    left = newest.valid_until - at
    numbers = {"signing_key_seconds_left": left.total_seconds()}
    state = GOOD if left > DAY * 60 else NEAR if left > timedelta() else OUT
    words = (
        f"Valid until {newest.valid_until:%-d %B %Y}." if left > timedelta() else "It has expired; nothing is issued."
    )
    todo = "" if state == GOOD else "Make another with manage.py make_signing_key, and publish its fingerprint."
    return Fact("signing_key", "Signing key", state, words, todo, numbers)


def disk(at: datetime) -> Fact:
    """Room in the data folder."""
    usage = shutil.disk_usage(settings.QCAPP_DATA_DIR)
    free, share = usage.free / GIGABYTE, usage.free / usage.total
    state = OUT if free < 1 or share < 0.02 else NEAR if free < 5 or share < 0.1 else GOOD
    words = f"{free:.1f} GB free in the data folder, {100 * share:.0f} % of its disk."
    todo = "" if state == GOOD else "Make room: move old backups away, or give the folder a larger disk."
    return Fact("disk", "Disk", state, words, todo, {"disk_free_bytes": float(usage.free)})


def database(at: datetime) -> Fact:
    """What the database takes, and how long it needs to say so."""
    begun = perf_counter()
    with connection.cursor() as cursor:
        cursor.execute(SIZE[connection.vendor])
        size = float(cursor.fetchone()[0])
    took = perf_counter() - begun
    words = f"It answers, and takes {size / GIGABYTE:.2f} GB."
    return Fact("database", "Database", GOOD, words, "", {"database_bytes": size, "database_answer_seconds": took})


def version(at: datetime) -> Fact:
    """What runs here."""
    kind = {"postgresql": "PostgreSQL", "sqlite": "SQLite"}.get(connection.vendor, connection.vendor)
    words = f"qcapp {product_version()} on Django {django.get_version()}, {kind}."
    return Fact("version", "Version", GOOD, words)


WATCHED: tuple[Callable[[datetime], Fact], ...] = (
    backups, verification, audit_check, anchors, anchor_mail, evidence_check, tablets, mail, notices, queue,
    calibrations, signing_key, database, disk, version,
)  # fmt: skip


@lru_cache(maxsize=1)
def product_version() -> str:
    """The version as pyproject.toml has it."""
    text = (settings.BASE_DIR / "pyproject.toml").read_text(encoding="utf-8")
    return str(tomllib.loads(text)["project"]["version"])


def in_words(age: timedelta) -> str:
    """An age in its largest fitting unit: "3 days", "5 hours", "12 minutes"."""
    minutes = max(0, int(age.total_seconds() // 60))
    size, word = next(each for each in UNITS if minutes >= 2 * each[0] or each[0] == 1)
    count = minutes // size
    return f"{count} {word}{'' if count == 1 else 's'}"


def _aged(name: str, title: str, note: str, at: datetime, limits: tuple[timedelta, timedelta], todo: str) -> Fact:
    """A fact that is good for the first span of time and out after the second."""
    told: dict[str, Any] = notes().get(note, {})
    if not told.get("at"):
        return Fact(name, title, OUT, "Never on this machine.", todo)
    age = at - datetime.fromisoformat(told["at"]).astimezone(UTC)
    near, out = limits
    state = GOOD if age <= near else NEAR if age <= out else OUT
    words = f"{in_words(age)} ago."
    return Fact(name, title, state, words, "" if state == GOOD else todo, {f"{name}_age_seconds": age.total_seconds()})
