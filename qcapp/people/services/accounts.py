"""Accounts: who works here, their passwords and PINs.

`by` is the keeper, or None for the system itself: the shell of the server, or invented data.
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

from django.conf import settings
from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.db import models, transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotAllowed, Refused

from .. import codes, pins, queries
from ..models import Person, RoleAssignment
from .keeping import record_change, refuse_last_keeper, require_keeper, require_self_or_keeper

TEMPORARY_LASTS = timedelta(days=3)
BADGE = re.compile(r"[A-Za-z0-9][A-Za-z0-9-]{0,19}")


def add_person(
    *,
    by: Person | None,
    badge: str,
    name: str,
    initials: str,
    at: datetime,
    joined_on: date | None = None,
    stamp: str = "",
    email: str = "",
    language: str = "",
) -> Person:
    """A new person without a role, a password or a PIN. Raises Conflict (`badge_taken`, `stamp_taken`) and
    Invalid (`person_invalid`).
    """
    with transaction.atomic():
        require_keeper(by, at)
        _refuse_taken(badge.strip(), stamp.strip())
        person = Person(
            badge=badge.strip().upper(),
            name=" ".join(name.split()),
            initials=initials.strip(),
            stamp=stamp.strip(),
            email=email.strip(),
            language=language or _usual_language(),
            joined_on=joined_on or queries.site_day(at),
        )
        person.set_unusable_password()
        _refuse_invalid(person)
        person.save()
        record_change(Verb.PERSON_ADDED, by, person, at, badge=person.badge, name=person.name, initials=person.initials)
    return person


def change_person(
    *, by: Person | None, person: Person, name: str, initials: str, email: str = "", at: datetime
) -> None:
    """Another name, other initials or address; the badge never changes.

    Raises Invalid (`person_invalid`) and Refused (`person_anonymised`).
    """
    with transaction.atomic():
        require_keeper(by, at)
        _refuse_anonymised(person)
        before = {"name": person.name, "initials": person.initials, "email": person.email}
        after = {"name": " ".join(name.split()), "initials": initials.strip(), "email": email.strip()}
        changed = sorted(field for field in after if before[field] != after[field])
        if not changed:
            return
        for field in changed:
            setattr(person, field, after[field])
        _refuse_invalid(person)
        person.save(update_fields=changed)
        record_change(Verb.PERSON_CHANGED, by, person, at, before={f: before[f] for f in changed}, changed=changed)


def set_language(*, by: Person, language: str, at: datetime) -> None:
    """The language of the floor pages for whoever asks. Raises Invalid (`language_unknown`)."""
    if language not in dict(settings.LANGUAGES):
        known = ", ".join(name for _, name in settings.LANGUAGES)
        raise Invalid("language_unknown", f"The floor pages speak {known}; choose one of them.")
    with transaction.atomic():
        before, by.language = by.language, language
        by.save(update_fields=["language"])
        record_change(Verb.PERSON_CHANGED, by, by, at, before={"language": before}, changed=["language"])


def set_password(*, by: Person | None, person: Person, password: str, at: datetime) -> None:
    """Set the person's own password; every other session of theirs ends.

    Raises Invalid (`password_too_weak`, with every reason), and NotAllowed (`own_password_only`) unless `by` is the
    person or the shell: a keeper gives one that nobody has chosen (`give_temporary_password`).
    """
    with transaction.atomic():
        require_self_or_keeper(by, person, at)
        if _set_by_somebody_else(by, person):
            raise NotAllowed("own_password_only", "A password is chosen by its owner. Give a temporary one instead.")
        try:
            validate_password(password, person)
        except ValidationError as error:
            raise Invalid("password_too_weak", " ".join(error.messages)) from error
        _keep_password(person, password, until=None)
        record_change(Verb.PERSON_SECRET_SET, by, person, at, kind="password", temporary=False)


def give_temporary_password(*, by: Person | None, person: Person, at: datetime) -> str:
    """Give a random password that works for three days and opens nothing but the own account, where it is replaced.

    Every session of the person ends. Raises NotAllowed unless `by` is a keeper, and Refused (`person_left`).
    """
    with transaction.atomic():
        require_keeper(by, at)
        if not queries.is_here(person, at):
            raise Refused("person_left", f"{person.name} does not work here any more.")
        password = codes.new_temporary_password()
        _keep_password(person, password, until=at + TEMPORARY_LASTS)
        record_change(Verb.PERSON_SECRET_SET, by, person, at, kind="password", temporary=True)
    return password


def _keep_password(person: Person, password: str, until: datetime | None) -> None:
    person.set_password(password)
    person.password_is_temporary, person.password_until = until is not None, until
    person.save(update_fields=["password", "password_is_temporary", "password_until"])


def set_pin(*, by: Person | None, person: Person, pin: str, at: datetime) -> None:
    """Set the PIN that the person signs with. One set by a keeper is temporary and signs nothing yet.

    Raises Invalid (`pin_malformed`, `pin_too_simple`) and NotAllowed unless `by` is the person or a keeper.
    """
    with transaction.atomic():
        require_self_or_keeper(by, person, at)
        pins.check_pin(pin, person.badge)
        person.pin = pins.hash_pin(pin, person.uuid)
        person.pin_is_temporary = _set_by_somebody_else(by, person)
        person.save(update_fields=["pin", "pin_is_temporary"])
        record_change(Verb.PERSON_SECRET_SET, by, person, at, kind="PIN", temporary=person.pin_is_temporary)


def mark_left(*, by: Person | None, person: Person, at: datetime, last_day: date | None = None) -> None:
    """The person leaves: at once, or after `last_day`. Roles end, and so do sessions, password and PIN at
    once.

    Raises Refused (`last_keeper`) when nobody else could keep the system.
    """
    today = queries.site_day(at)
    with transaction.atomic():
        require_keeper(by, at)
        refuse_last_keeper(person, at)
        person.left_on = last_day or today
        person.is_active = last_day is not None and last_day >= today
        if not person.is_active:
            person.set_unusable_password()
            person.pin = ""
        person.save(update_fields=["left_on", "is_active", "password", "pin"])
        running = RoleAssignment.objects.filter(person=person)
        running.filter(models.Q(ends_on=None) | models.Q(ends_on__gt=person.left_on)).update(ends_on=person.left_on)
        record_change(Verb.PERSON_LEFT, by, person, at, last_day=person.left_on.isoformat())


def _usual_language() -> str:
    """The site's, where pages speak it."""
    return settings.QCAPP_SITE_LANGUAGE if settings.QCAPP_SITE_LANGUAGE in dict(settings.LANGUAGES) else "en"


def _refuse_anonymised(person: Person) -> None:
    if person.anonymised_at is not None:
        raise Refused("person_anonymised", f"{person.name} is anonymised; a name is not written there again.")


def _set_by_somebody_else(by: Person | None, person: Person) -> bool:
    return by is not None and by.pk != person.pk


def _refuse_taken(badge: str, stamp: str) -> None:
    if queries.find_by_badge(badge):
        raise Conflict("badge_taken", f"The badge {badge} is taken. A badge is never given to a second person.")
    if stamp and Person.objects.filter(stamp=stamp).exists():
        raise Conflict("stamp_taken", f"The stamp {stamp} is taken. A stamp is never given to a second person.")


def _refuse_invalid(person: Person) -> None:
    problems = [] if BADGE.fullmatch(person.badge) else ["badge: letters, digits and hyphens, at most 20."]
    if "\0" in person.name + person.initials + person.stamp + person.email:
        problems.append("A NUL character stands in one of the fields; remove it.")
    try:
        person.full_clean(exclude=["badge", "password"], validate_constraints=False)
    except ValidationError as error:
        problems += [f"{field}: {' '.join(messages)}" for field, messages in error.message_dict.items()]
    if problems:
        raise Invalid("person_invalid", " ".join(problems))
