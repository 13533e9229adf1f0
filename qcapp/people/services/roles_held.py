"""Roles with their dates, and deputies.

`by` is the keeper, or None for the system itself: the shell of the server, or invented data.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.db import models, transaction

from qcapp.audit.verbs import Verb
from qcapp.core.errors import Conflict, Invalid, NotFound, Refused

from .. import queries
from ..models import Deputy, DeputyEnd, Person, RoleAssignment
from ..roles import DEPUTIZABLE, Role
from .keeping import record_change, refuse_last_keeper, require_keeper


def give_role(
    *, by: Person | None, person: Person, role: Role, at: datetime, starts_on: date | None = None
) -> RoleAssignment:
    """A role from a day on, today unless said. Raises Conflict (`role_already_held`)."""
    first = starts_on or queries.site_day(at)
    with transaction.atomic():
        require_keeper(by, at)
        held = RoleAssignment.objects.filter(person=person, role=role)
        if held.filter(models.Q(ends_on=None) | models.Q(ends_on__gte=first)).exists():
            raise Conflict("role_already_held", f"{person.name} already is {Role(role).label} on {first}.")
        row = RoleAssignment.objects.create(person=person, role=role, starts_on=first)
        record_change(Verb.PERSON_ROLE_GIVEN, by, person, at, role=Role(role).value, starts_on=first.isoformat())
    return row


def end_role(*, by: Person | None, person: Person, role: Role, at: datetime, last_day: date | None = None) -> None:
    """The role ends after `last_day`, or at once. Raises NotFound (`role_not_held`) and Refused
    (`last_keeper`).
    """
    last = last_day or queries.site_day(at) - timedelta(days=1)
    with transaction.atomic():
        require_keeper(by, at)
        if role == Role.KEEPER:
            refuse_last_keeper(person, at)
        held = RoleAssignment.objects.filter(person=person, role=role)
        if not held.filter(models.Q(ends_on=None) | models.Q(ends_on__gt=last)).update(ends_on=last):
            raise NotFound("role_not_held", f"{person.name} is not {Role(role).label}, so nothing ends.")
        record_change(Verb.PERSON_ROLE_ENDED, by, person, at, role=Role(role).value, last_day=last.isoformat())


def name_deputy(
    *,
    by: Person | None,
    person: Person,
    deputy: Person,
    role: Role,
    starts_on: date,
    ends_on: date,
    at: datetime,
) -> Deputy:
    """`deputy` stands in for `person` in the role between two days, both included.

    Raises Invalid (`deputy_invalid`) for a role without deputies, dates that do not fit or a person standing
    in for themselves, and Refused (`role_not_held`) when `person` does not hold the role on the first day.
    """
    with transaction.atomic():
        require_keeper(by, at)
        _check_deputy(person, deputy, role, starts_on, ends_on, at)
        row = Deputy(
            person=person,
            deputy=deputy,
            role=role,
            starts_on=starts_on,
            ends_on=ends_on,
            named_by=by or person,
            named_at=at,
        )
        row.save()
        between = {"starts_on": starts_on.isoformat(), "ends_on": ends_on.isoformat()}
        record_change(Verb.PERSON_DEPUTY_NAMED, by, person, at, deputy=deputy.badge, role=Role(role).value, **between)
    return row


def end_deputy(*, by: Person | None, deputy_id: int, at: datetime, last_day: date | None = None) -> None:
    """A deputyship ends early: after `last_day`, or now. Raises NotFound and Conflict (`deputy_ended`)."""
    last = last_day or queries.site_day(at) - timedelta(days=1)
    with transaction.atomic():
        require_keeper(by, at)
        row = Deputy.objects.select_related("person", "deputy", "end").filter(pk=deputy_id).first()
        if row is None:
            raise NotFound("deputy_unknown", "This deputyship is not known. Reload the page.")
        if hasattr(row, "end") or row.ends_on <= last:
            raise Conflict("deputy_ended", f"{row.deputy.name} stands in no longer; nothing is left to end.")
        DeputyEnd(deputy=row, ends_on=last, ended_by=by or row.person, ended_at=at).save()
        ended = {"deputy": row.deputy.badge, "role": row.role, "last_day": last.isoformat()}
        record_change(Verb.PERSON_DEPUTY_ENDED, by, row.person, at, **ended)


def _check_deputy(person: Person, deputy: Person, role: Role, starts_on: date, ends_on: date, at: datetime) -> None:
    label = Role(role).label
    if role not in DEPUTIZABLE:
        raise Invalid("deputy_invalid", f"Nobody stands in for a {label}; give the role itself.")
    if person.pk == deputy.pk:
        raise Invalid("deputy_invalid", f"{person.name} cannot stand in for themselves; choose another person.")
    if ends_on < starts_on or ends_on < queries.site_day(at):
        raise Invalid("deputy_invalid", "The last day lies before the first, or in the past; correct the dates.")
    if not queries.is_here(deputy, at):
        raise Invalid("deputy_invalid", f"{deputy.name} does not work here today; choose another person.")
    if not queries.holds_on(person, role, max(starts_on, queries.site_day(at))):
        raise Refused("role_not_held", f"{person.name} is not {label} on {starts_on}, so nobody can stand in.")
