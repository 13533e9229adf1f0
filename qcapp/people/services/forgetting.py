"""Forgetting somebody who left long ago: the row keeps the badge as a pseudonym, the records keep pointing at it.

Only the shell of the server does it; the chain names people by uuid and is not touched.
"""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Refused

from .. import queries
from ..models import Attempts, ChartReader, OpenSession, Person, RecoveryCode, SecondFactor
from .keeping import record_change

NO_INITIALS = "–"


def refuse_to_forget(person: Person, at: datetime) -> None:
    """Raises Conflict (`already_anonymised`), and Refused (`person_still_here`, `names_still_kept`)."""
    if person.anonymised_at is not None:
        raise Conflict("already_anonymised", f"{person.name} is anonymised already.")
    if person.left_on is None or queries.is_here(person, at):
        message = f"{person.name} works here. Write down first that this person leaves."
        raise Refused("person_still_here", message)
    until = queries.names_kept_until(person.left_on)
    if queries.site_day(at) <= until:
        message = f"The name of badge {person.badge} is kept until {until} (QCAPP_KEEP_NAMES_YEARS). Wait until then."
        raise Refused("names_still_kept", message)


def anonymise(*, person: Person, at: datetime) -> None:
    """Take name, initials, address, secrets and second factor from the row. Raises as `refuse_to_forget`."""
    with transaction.atomic():
        refuse_to_forget(person, at)
        person.name, person.initials, person.email = f"Person {person.badge}", NO_INITIALS, ""
        person.pin, person.second_factor_at, person.is_active = "", None, False
        person.language, person.last_login, person.anonymised_at = "en", None, at
        person.set_unusable_password()
        person.save()
        RecoveryCode.objects.filter(factor__person=person).delete()
        SecondFactor.objects.filter(person=person).delete()
        OpenSession.objects.filter(person=person).delete()
        ChartReader.objects.filter(person=person, ended_at=None).update(ended_at=at)
        record_change(Verb.PERSON_ANONYMISED, None, person, at, left_on=str(person.left_on))


def forget_attempts(*, before: datetime) -> int:
    """Delete the counts of failed proofs whose last one lies before; gives how many."""
    return Attempts.objects.filter(last_at__lt=before).delete()[0]


def forgettable(at: datetime) -> list[Person]:
    """Everybody whose name may be forgotten at that time, by badge."""
    left = Person.objects.filter(anonymised_at=None, left_on__isnull=False).order_by("badge")
    today: date = queries.site_day(at)
    return [person for person in left if person.left_on and queries.names_kept_until(person.left_on) < today]
