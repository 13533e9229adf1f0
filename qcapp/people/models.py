"""Accounts, roles with dates, deputies, and the signatures that every other room's signed acts point at."""

from __future__ import annotations

from typing import ClassVar

from django.contrib.auth.base_user import AbstractBaseUser
from django.db import models
from django.db.models.functions import Lower

from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import WriteOnceModel

from .accounts import PersonManager
from .roles import Role

ROLE_CHOICES = [(role.value, role.label) for role in Role]


class Person(AbstractBaseUser):
    """Someone who works here. Signs in with the badge, signs with the PIN; the name is what papers print.

    Rights come from RoleAssignment alone: there is no superuser, so nobody can act unseen.
    """

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    badge = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    initials = models.CharField(max_length=6)
    stamp = models.CharField(max_length=12, blank=True)  # stamp number printed in place of the name, welders' mark
    pin = models.CharField(max_length=200, blank=True)  # argon2 over PIN and pepper; empty means no PIN yet
    password_is_temporary = models.BooleanField(default=False)  # set by somebody else: change it before anything
    pin_is_temporary = models.BooleanField(default=False)  # set by somebody else: signs nothing until changed
    email = models.EmailField(blank=True)
    language = models.CharField(max_length=8, default="en")
    is_active = models.BooleanField(default=True)
    joined_on = models.DateField()
    left_on = models.DateField(null=True, blank=True)

    USERNAME_FIELD = "badge"
    REQUIRED_FIELDS: ClassVar[list[str]] = ["name", "initials"]

    objects = PersonManager()

    class Meta:
        verbose_name_plural = "people"
        constraints = [
            models.UniqueConstraint(Lower("badge"), name="people_person_badge_any_case"),
            models.UniqueConstraint(fields=["stamp"], condition=~models.Q(stamp=""), name="people_person_stamp_once"),
        ]

    def __str__(self) -> str:
        return self.name


class RoleAssignment(models.Model):
    """A role from a date, until a date. Ended, never deleted."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="roles")
    role = models.CharField(max_length=24, choices=ROLE_CHOICES)
    starts_on = models.DateField()
    ends_on = models.DateField(null=True, blank=True)  # last day, included

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person", "role"], condition=models.Q(ends_on=None), name="people_role_open_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_id} {self.role}"


class Deputy(WriteOnceModel):
    """`deputy` stands in for `person` in one role between two dates, both included; visible in each
    signature.
    """

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="deputies")
    deputy = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="stands_in_for")
    role = models.CharField(max_length=24, choices=ROLE_CHOICES)
    starts_on = models.DateField()
    ends_on = models.DateField()
    named_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    named_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=~models.Q(person=models.F("deputy")), name="people_deputy_other"),
            models.CheckConstraint(condition=models.Q(ends_on__gte=models.F("starts_on")), name="people_deputy_dates"),
        ]

    def __str__(self) -> str:
        return f"{self.deputy_id} for {self.person_id}"


class DeputyEnd(WriteOnceModel):
    """A deputy stands in no longer than this day, which comes before the one first named."""

    deputy = models.OneToOneField(Deputy, on_delete=models.PROTECT, related_name="end")
    ends_on = models.DateField()  # last day, included; before the first day it was never in force
    ended_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    ended_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"end of {self.deputy_id}"


class Signature(WriteOnceModel):
    """A person's signature: who, in which role, the sentence it stands under, and the digest of what it
    covers.
    """

    class Method(models.TextChoices):
        PIN = "pin", "PIN"
        PASSWORD = "password", "password"
        DEMONSTRATION = "demonstration", "demonstration data"

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="signatures")
    role = models.CharField(max_length=24, choices=ROLE_CHOICES)
    deputy_for = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")
    act = models.CharField(max_length=80)
    meaning = models.CharField(max_length=300)
    subject = models.CharField(max_length=120)
    covers = models.CharField(max_length=64)  # SHA-256 of the canonical record signed
    method = models.CharField(max_length=16, choices=Method.choices)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.person_id} {self.act}"


class Attempts(models.Model):
    """Failed proofs of identity per key (a badge, an address), counted in the database so that every process
    sees them.
    """

    key = models.CharField(max_length=120, unique=True)
    failures = models.IntegerField(default=0)
    first_at = models.DateTimeField()
    last_at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.key}: {self.failures}"
