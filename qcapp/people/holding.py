"""Roles as they are held on a day: rows to build questions on. Everybody else asks `queries`."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.db.models import Exists, OuterRef, Q, QuerySet

from qcapp.lib.statements import Prepared

from .models import Deputy, Person, RoleAssignment
from .roles import DEPUTIZABLE


def held_on(day: date) -> QuerySet[RoleAssignment]:
    """The roles that people hold themselves on a day."""
    return RoleAssignment.objects.filter(Q(ends_on=None) | Q(ends_on__gte=day), starts_on__lte=day)


def standing_in_on(day: date) -> QuerySet[Any]:
    """Deputyships in force: within their dates, not ended early, and the one stood in for still holds the
    role.
    """
    role_still_held = held_on(day).filter(person=OuterRef("person"), role=OuterRef("role"))
    return Deputy.objects.filter(
        Q(end=None) | Q(end__ends_on__gte=day),
        Exists(role_still_held),
        role__in=DEPUTIZABLE,
        starts_on__lte=day,
        ends_on__gte=day,
    )


def _here_with_role(role: str, day: date) -> QuerySet[Person, Any]:
    """The keys of whoever works here on a day and holds the role, alone or as a deputy."""
    own, deputies = held_on(day).filter(role=role), standing_in_on(day).filter(role=role)
    holds = Q(pk__in=own.values("person")) | Q(pk__in=deputies.values("deputy"))
    here = Person.objects.filter(Q(left_on=None) | Q(left_on__gte=day), is_active=True, joined_on__lte=day)
    return here.filter(holds).order_by("pk").values_list("pk")


KEYS_WITH_ROLE = Prepared(_here_with_role, role="any role", day=date(1970, 1, 1))
