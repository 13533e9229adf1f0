"""The table of retention: one row for each kind of record. The page, the command and docs/retention.md read it.

The periods are common practice, no source: whoever runs a site asks what its law and its contracts demand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.conf import settings
from django_tasks_db.models import DBTaskResult

from qcapp.messages.services.forgetting import forget_messages
from qcapp.people.services import forget_attempts, forget_sessions, forgettable, sessions_to_forget

from .anonymising import forget_names

ATTEMPTS_DAYS, TASKS_DAYS = 30, 90
Apply = Callable[[datetime], int]
FOREVER = "for as long as the site exists"


@dataclass(frozen=True)
class Kind:
    """A kind of record: the personal data in it, why it is there, how long it stays, what happens then.

    `apply` forgets what is past its period and gives how many rows; None where nothing is ever forgotten.
    """

    name: str
    personal: str
    reason: str
    period: str
    then: str
    apply: Apply | None = None


def kinds() -> tuple[Kind, ...]:
    """The whole table, with the periods of the settings."""
    return *_records(), *_about_people(), *_passing()


def _records() -> tuple[Kind, ...]:
    """What is never forgotten."""
    return (
        Kind(
            "Results, sign-offs, decisions, reports, as-built records, calibrations, qualifications",
            "who did it and when, by a key to the person's row; what people wrote as remarks and reasons",
            "a frame is proven by named persons, for as long as it may be on the road",
            FOREVER,
            "never deleted; the name goes with the person's row, the badge stays",
        ),
        Kind(
            "Certificates as they were issued, letters, scanned papers, photos",
            "names printed or photographed on them",
            "the paper is in the customer's hands and must stay the same",
            FOREVER,
            "never deleted or changed",
        ),
        Kind(
            "Audit chain",
            "who did what when, by uuid; in some entries a name or an e-mail address",
            "shows that nothing was altered",
            FOREVER,
            "never deleted; names are taken out of its payloads with the person's row, and the check still holds",
        ),
    )


def _about_people() -> tuple[Kind, ...]:
    years = settings.QCAPP_KEEP_NAMES_YEARS
    return (
        Kind(
            "A person's row",
            "name, initials, e-mail address, language, password, PIN, second factor; badge and stamp",
            "signs in, signs, is named on papers",
            f"{years} years after the person left (QCAPP_KEEP_NAMES_YEARS); secrets end on the last day",
            "anonymised: badge, stamp, roles and dates stay",
            forget_names,
        ),
        Kind(
            "Customers, orders, dispatch, service events",
            "the customer's name and contact",
            "a field action has to reach who has the unit",
            FOREVER,
            "kept as long as the unit may be in use",
        ),
    )


def _passing() -> tuple[Kind, ...]:
    """What serves for a while."""
    days = settings.QCAPP_KEEP_MESSAGES_DAYS
    return (
        Kind(
            "Messages to people",
            "what a person was told, and whether it was read",
            "work that waits for somebody",
            f"{days} days (QCAPP_KEEP_MESSAGES_DAYS)",
            "deleted, unless an e-mail still waits",
            lambda at: forget_messages(before=at - timedelta(days=days)),
        ),
        Kind(
            "Failed sign-ins and signatures",
            "a keyed digest of the badge, the address of the network",
            "makes guessing slow",
            f"{ATTEMPTS_DAYS} days after the last one",
            "deleted",
            lambda at: forget_attempts(before=at - timedelta(days=ATTEMPTS_DAYS)),
        ),
        Kind(
            "Sessions",
            "who is signed in, since when, on which tablet or in which kind of browser",
            "stays signed in over a shift change",
            "30 days after the last day of use, 90 days after the sign-in at the latest",
            "deleted",
            lambda at: forget_sessions(before=at),
        ),
        Kind(
            "Finished work in the background",
            "who asked for it",
            "shows what failed",
            f"{TASKS_DAYS} days",
            "deleted",
            lambda at: _forget_tasks(at - timedelta(days=TASKS_DAYS)),
        ),
    )


def _forget_tasks(before: datetime) -> int:
    return DBTaskResult.objects.filter(finished_at__lt=before).delete()[0]


def waiting(at: datetime) -> dict[str, int]:
    """How much is past its period and not forgotten yet: names and sessions, which a keeper asks about."""
    return {
        "names": len(forgettable(at)),
        "sessions": sessions_to_forget(at),
    }
