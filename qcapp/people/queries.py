"""Readers: who somebody is, which roles they hold on a day, own or as a deputy, and what they may do."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db.models import Q

from qcapp.core.errors import NotFound, Refused

from .holding import KEYS_WITH_ROLE, held_on, standing_in_on
from .models import AsideEntry, ChartReader, Deputy, Person, RoleAssignment, Signature, Tablet, TabletKey
from .roles import ACTS, Act, Role

LONGEST_BADGE = 20  # what the column takes
_UUID = re.compile(r"[0-9a-f]{8}-(?:[0-9a-f]{4}-){3}[0-9a-f]{12}")


@dataclass(frozen=True)
class RoleHeld:
    """A role as it is held on a day: the person's own, or in place of `deputy_for`."""

    role: Role
    deputy_for: Person | None = None

    @property
    def label(self) -> str:
        """As papers print it: "quality manager", "quality manager, deputy for A. Name"."""
        return f"{self.role.label}, deputy for {self.deputy_for.name}" if self.deputy_for else self.role.label


@dataclass(frozen=True)
class PersonCard:
    """What screens show of a person."""

    id: int
    uuid: UUID
    badge: str
    name: str
    initials: str
    stamp: str
    email: str
    roles: tuple[str, ...]  # labels, deputies included, in the order of the rights table
    is_active: bool
    joined_on: date
    left_on: date | None
    has_pin: bool


@dataclass(frozen=True)
class RoleRow:
    """A role somebody holds, held or will hold."""

    id: int
    role: Role
    starts_on: date
    ends_on: date | None


@dataclass(frozen=True)
class DeputyRow:
    """A deputyship as named, with the day it really ends."""

    id: int
    role: Role
    person_name: str
    deputy_name: str
    starts_on: date
    ends_on: date


def site_day(at: datetime) -> date:
    """The date of an instant where the workshop stands; roles and deputies count in its days."""
    return at.astimezone(ZoneInfo(str(settings.QCAPP_SITE_ZONE))).date()


def is_here(person: Person, at: datetime) -> bool:
    """False for somebody who left, or does not work here yet on that day."""
    day = site_day(at)
    return person.is_active and person.joined_on <= day and (person.left_on is None or day <= person.left_on)


def roles_of(person: Person, at: datetime) -> frozenset[RoleHeld]:
    """The roles held at that time, own and as a deputy; none for somebody who left."""
    if not is_here(person, at):
        return frozenset()
    day = site_day(at)
    own = {RoleHeld(Role(role)) for role in held_on(day).filter(person=person).values_list("role", flat=True)}
    stands_in = standing_in_on(day).filter(deputy=person).select_related("person")
    return frozenset(own | {RoleHeld(Role(row.role), row.person) for row in stands_in})


def keep_roles(person: Person, at: datetime) -> None:
    """Read the roles of whoever asks for a page once: `role_names` of this very object answers from it that day.

    For the person of a request and no longer; services ask `roles_of`, which always reads.
    """
    person._roles_kept = (site_day(at), role_names(person, at))  # type: ignore[attr-defined]  # of this object alone


def role_names(person: Person, at: datetime) -> frozenset[Role]:
    """The roles held at that time, in one query, or none after `keep_roles`."""
    day = site_day(at)
    kept_on, kept = getattr(person, "_roles_kept", (None, frozenset()))
    if kept_on == day:
        return kept
    if not is_here(person, at):
        return frozenset()
    own = held_on(day).filter(person=person).values_list("role")
    return frozenset(Role(role) for (role,) in own.union(standing_in_on(day).filter(deputy=person).values_list("role")))


def acts_of(person: Person, at: datetime) -> frozenset[Act]:
    """Everything the person may do at that time, in one query."""
    held = role_names(person, at)
    return frozenset(act for act, roles in ACTS.items() if roles & held)


def may(person: Person, act: Act, at: datetime) -> bool:
    """Whether one of the person's roles at that time allows the act."""
    return bool(ACTS[act] & role_names(person, at))


def person_by_badge(badge: str) -> Person:
    """The person with this badge, whatever its case. Raises NotFound (`badge_unknown`)."""
    person = find_by_badge(badge)
    if person is None:
        raise NotFound("badge_unknown", f"No person has the badge {badge[:20]!r}. Check the badge.", badge=badge[:20])
    return person


def find_by_badge(badge: str) -> Person | None:
    """The person with this badge, or None."""
    return Person.objects.filter(badge__iexact=badge).first() if _readable(badge) else None


def person_by_uuid(uuid: UUID | str) -> Person:
    """The person behind a uuid, as the audit chain names people. Raises NotFound (`person_unknown`)."""
    try:
        return Person.objects.get(uuid=uuid)
    except (Person.DoesNotExist, ValidationError) as error:
        raise NotFound("person_unknown", "This person is not known here.", uuid=str(uuid)) from error


def people_by_badge(badges: Iterable[str]) -> dict[str, Person]:
    """The people of several badges in one query, by badge as it was asked for; unknown ones are left out."""
    wanted = {badge.casefold(): badge for badge in badges if _readable(badge)}
    spelled = {spelling for badge in wanted.values() for spelling in (badge, badge.upper(), badge.lower())}
    found = Person.objects.filter(badge__in=spelled)
    return {wanted[p.badge.casefold()]: p for p in found if p.badge.casefold() in wanted}


def people_by_id(keys: Iterable[int]) -> dict[int, Person]:
    """The people of several keys in one query."""
    return Person.objects.in_bulk(list(keys))


def people_with_role(role: Role, at: datetime) -> list[Person]:
    """Everybody who holds the role at that time, own holders first, then deputies; each once, by name."""
    day = site_day(at)
    own = Person.objects.filter(pk__in=held_on(day).filter(role=role).values("person")).order_by("name")
    deputies = Person.objects.filter(pk__in=standing_in_on(day).filter(role=role).values("deputy")).order_by("name")
    return list({p.pk: p for p in (*own, *deputies) if is_here(p, at)}.values())


def keys_with_role(role: Role, at: datetime) -> list[int]:
    """The keys of the same people, by one query that is composed once: it is asked with every report."""
    return [key for (key,) in KEYS_WITH_ROLE(role=str(role.value), day=site_day(at))]


def own_holders(role: Role, at: datetime) -> list[Person]:
    """Everybody here who holds the role themselves at that time, deputies left out."""
    holders = Person.objects.filter(pk__in=held_on(site_day(at)).filter(role=role).values("person"))
    return [person for person in holders.order_by("name") if is_here(person, at)]


def holds_on(person: Person, role: Role, day: date) -> bool:
    """Whether the person holds the role themselves on a day."""
    return held_on(day).filter(person=person, role=role).exists()


def reads_worker_charts(person: Person) -> bool:
    """Whether the site named the person to see charts split by welder and inspector."""
    return ChartReader.objects.filter(person=person, ended_at=None).exists()


def names_kept_until(left_on: date) -> date:
    """The last day on which the name of somebody who left that day is kept (QCAPP_KEEP_NAMES_YEARS)."""
    last = left_on.year + int(settings.QCAPP_KEEP_NAMES_YEARS)
    try:
        return left_on.replace(year=last)
    except ValueError:  # the 29th of February in a year without one
        return date(last, 3, 1)


def names_of(uuids: Iterable[str]) -> dict[str, str]:
    """The names behind people's uuids, for lists that keep only those."""
    return {str(uuid): name for uuid, name in Person.objects.filter(uuid__in=set(uuids)).values_list("uuid", "name")}


def marks_of(ids: Iterable[int]) -> dict[int, str]:
    """What stands for each person on papers without names: the stamp number, else the badge."""
    rows = Person.objects.filter(pk__in=list(ids)).values_list("pk", "stamp", "badge")
    return {pk: stamp or badge for pk, stamp, badge in rows}


def people_by_mark(mark: str) -> list[int]:
    """The keys of who has this stamp number or badge; none where nobody has."""
    if not _readable(mark):
        return []
    found = Person.objects.filter(Q(stamp__iexact=mark) | Q(badge__iexact=mark))
    return list(found.order_by("pk").values_list("pk", flat=True))


def person_card(person: Person, at: datetime) -> PersonCard:
    """The card of one person."""
    labels = [held.label for held in sorted(roles_of(person, at), key=_table_order)]
    return _card(person, tuple(labels))


def people_cards(at: datetime, *, with_left: bool = False) -> list[PersonCard]:
    """Everybody by name in three queries; those who left only when asked for."""
    day = site_day(at)
    held: dict[int, set[RoleHeld]] = {}
    for person_id, role in held_on(day).values_list("person_id", "role"):
        held.setdefault(person_id, set()).add(RoleHeld(Role(role)))
    for row in standing_in_on(day).select_related("person"):
        held.setdefault(row.deputy_id, set()).add(RoleHeld(Role(row.role), row.person))
    everybody = [p for p in Person.objects.order_by("name") if with_left or is_here(p, at)]
    return [
        _card(p, tuple(h.label for h in sorted(held.get(p.pk, ()), key=_table_order)) if is_here(p, at) else ())
        for p in everybody
    ]


def role_rows(person: Person) -> list[RoleRow]:
    """Every role the person ever had, the newest first."""
    rows = RoleAssignment.objects.filter(person=person).order_by("-starts_on", "role")
    return [RoleRow(row.pk, Role(row.role), row.starts_on, row.ends_on) for row in rows]


def deputy_rows(person: Person) -> list[DeputyRow]:
    """Deputyships in which the person stands on either side, the newest first."""
    rows = Deputy.objects.filter(Q(person=person) | Q(deputy=person)).select_related("person", "deputy", "end")
    return [
        DeputyRow(row.pk, Role(row.role), row.person.name, row.deputy.name, row.starts_on, last_day(row))
        for row in rows.order_by("-starts_on", "-pk")
    ]


def last_day(deputy: Deputy) -> date:
    """The last day a deputyship is in force, its early end included."""
    end = getattr(deputy, "end", None)
    return min(deputy.ends_on, end.ends_on) if end else deputy.ends_on


def signature_line(signature: Signature) -> str:
    """As papers print a signature's holder: name, role, and for whom."""
    held = RoleHeld(Role(signature.role), signature.deputy_for)
    return f"{signature.person.name}, {held.label}"


def distinct_people(signatures: Iterable[Signature]) -> bool:
    """Whether no person stands under two of the signatures, whichever roles they signed in."""
    signers = [signature.person_id for signature in signatures]
    return len(signers) == len(set(signers))


def require_distinct_people(signatures: Iterable[Signature]) -> None:
    """Raises Refused (`same_person_twice`) when one person would fill two required signatures of one act."""
    if not distinct_people(signatures):
        raise Refused(
            "same_person_twice",
            "One person never fills two signatures of one act. Ask a second person to sign.",
        )


def _readable(badge: str) -> bool:
    return bool(badge) and len(badge) <= LONGEST_BADGE and "\0" not in badge


def own_roles_first(held: RoleHeld) -> tuple[bool, int, str]:
    """A sorting key: own roles before a deputy's, then the order of the rights table."""
    return held.deputy_for is not None, *_table_order(held)


def _table_order(held: RoleHeld) -> tuple[int, str]:
    return list(Role).index(held.role), held.deputy_for.name if held.deputy_for else ""


def _card(person: Person, roles: tuple[str, ...]) -> PersonCard:
    return PersonCard(
        id=person.pk,
        uuid=person.uuid,
        badge=person.badge,
        name=person.name,
        initials=person.initials,
        stamp=person.stamp,
        email=person.email,
        roles=roles,
        is_active=person.is_active,
        joined_on=person.joined_on,
        left_on=person.left_on,
        has_pin=bool(person.pin),
    )


# ------------------------------------------------------------------------------------------------------- tablets


@dataclass(frozen=True)
class TabletCard:
    """What the keeper sees of a tablet."""

    uuid: UUID
    name: str
    place: str
    enrolled_at: datetime | None
    revoked_at: datetime | None
    code_until: datetime | None
    last_contact_at: datetime | None
    unsent: int
    unsent_since: datetime | None
    version: str
    people: tuple[str, ...]


@dataclass(frozen=True)
class AsideCard:
    """An entry kept aside, as the quality manager reads it."""

    id: int
    tablet_name: str
    body: dict[str, Any]
    at: datetime


def tablet_of_token(token: str) -> Tablet | None:
    """The tablet whose cookie holds this token, revoked or not; None for any other."""
    digest = hashlib.sha256(token.encode()).hexdigest()
    return Tablet.objects.filter(token_digest=digest).first() if token else None


def tablet_by_uuid(uuid: UUID | str) -> Tablet:
    """Raises NotFound (`tablet_unknown`)."""
    try:
        return Tablet.objects.get(uuid=uuid)
    except (Tablet.DoesNotExist, ValidationError) as error:
        raise NotFound("tablet_unknown", "This tablet is not known here. Load the page again.") from error


def tablet_cards() -> list[TabletCard]:
    """Every tablet in three queries: those in use by name, then the revoked ones."""
    names: dict[int, dict[str, None]] = {}
    for tablet_id, name in TabletKey.objects.order_by("person__name").values_list("tablet_id", "person__name"):
        names.setdefault(tablet_id, {})[name] = None
    rows = sorted(Tablet.objects.all(), key=lambda row: (row.revoked_at is not None, row.name.casefold()))
    fields = [field for field in TabletCard.__dataclass_fields__ if field != "people"]
    return [TabletCard(**{f: getattr(row, f) for f in fields}, people=tuple(names.get(row.pk, ()))) for row in rows]


def pin_print(person: Person) -> str:
    """What changes with the person's PIN and tells nothing of it."""
    return hashlib.sha256(person.pin.encode()).hexdigest()


def tablet_key(uuid: str) -> TabletKey | None:
    """The key of this uuid with its person and tablet, or None."""
    return next(iter(tablet_keys_by_uuid([uuid]).values()), None)


def tablet_keys_by_uuid(uuids: Iterable[str]) -> dict[str, TabletKey]:
    """The keys of several uuids in one query; what is no uuid is left out."""
    readable = [uuid for uuid in uuids if _UUID.fullmatch(str(uuid))]
    found = TabletKey.objects.filter(uuid__in=readable).select_related("person", "tablet") if readable else ()
    return {str(key.uuid): key for key in found}


def opens_sessions(key: TabletKey, at: datetime) -> bool:
    """Whether this is the person's latest key on its tablet, under the PIN of today, of somebody who works here."""
    later = TabletKey.objects.filter(tablet=key.tablet_id, person=key.person_id, pk__gt=key.pk)
    person = key.person
    fits = bool(person.pin) and not person.pin_is_temporary and key.pin_print == pin_print(person)
    return fits and is_here(person, at) and not person.password_is_temporary and not later.exists()


def aside_cards() -> list[AsideCard]:
    """The entries of revoked tablets that nobody has judged yet, oldest first."""
    rows = AsideEntry.objects.filter(why=AsideEntry.Why.REVOKED, decision=None).select_related("tablet").order_by("pk")
    return [AsideCard(row.pk, row.tablet.name if row.tablet else "", json.loads(row.body), row.at) for row in rows]
