"""Accounts, roles with dates, deputies, and the signatures that every other room's signed acts point at."""

from __future__ import annotations

from importlib import import_module
from typing import ClassVar

from django.conf import settings
from django.contrib.auth.base_user import AbstractBaseUser
from django.contrib.sessions.base_session import AbstractBaseSession
from django.db import models
from django.db.models.functions import Lower
from django.utils.crypto import salted_hmac

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
    password_until = models.DateTimeField(null=True, blank=True)  # when a temporary one stops to work
    pin_is_temporary = models.BooleanField(default=False)  # set by somebody else: signs nothing until changed
    second_factor_at = models.DateTimeField(null=True, blank=True)  # since when a code is asked beside the password
    email = models.EmailField(blank=True)
    language = models.CharField(max_length=8, default="en")
    is_active = models.BooleanField(default=True)
    joined_on = models.DateField()
    left_on = models.DateField(null=True, blank=True)
    anonymised_at = models.DateTimeField(null=True, blank=True)  # since then the badge is all that is known

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

    def _get_session_auth_hash(self, secret: str | None = None) -> str:
        # A session that was opened by the password alone ends when a second factor is set up or taken away.
        if self.second_factor_at is None:
            return str(super()._get_session_auth_hash(secret))  # type: ignore[misc]
        bound = f"{self.password} {self.second_factor_at.isoformat()}"
        return salted_hmac("qcapp.people.Person", bound, secret=secret, algorithm="sha256").hexdigest()


class OpenSession(AbstractBaseSession):
    """A browser in which somebody has signed in. What is said about it beside its data lets its owner know it again."""

    person = models.ForeignKey(Person, null=True, on_delete=models.CASCADE, related_name="+")  # none: not signed in yet
    sign_in = models.UUIDField(null=True)  # how pages name it, also under another key; the key is shown to nobody
    device = models.CharField(max_length=60, blank=True)  # the tablet, or browser and system
    begun_at = models.DateTimeField(null=True)
    used_at = models.DateTimeField(null=True)  # to the day: written down once a day

    @classmethod
    def get_session_store_class(cls) -> type:
        store: type = import_module(settings.SESSION_ENGINE).SessionStore
        return store


class SecondFactor(models.Model):
    """What proves a person beside the password: a secret shared with their authenticator (RFC 6238).

    Begun, it counts for nothing; confirmed by a first code, every sign-in by password asks for one.
    """

    person = models.OneToOneField(Person, on_delete=models.PROTECT, related_name="second_factor")
    sealed_secret = models.CharField(max_length=200)  # encrypted under a key that is not in the database
    begun_at = models.DateTimeField()
    confirmed_at = models.DateTimeField(null=True)
    last_step = models.BigIntegerField(default=0)  # of the latest code that was taken; none is taken twice

    def __str__(self) -> str:
        return f"second factor of {self.person_id}"


class RecoveryCode(models.Model):
    """A code on paper that stands in once for a lost authenticator."""

    factor = models.ForeignKey(SecondFactor, on_delete=models.CASCADE, related_name="recovery_codes")
    digest = models.CharField(max_length=64, unique=True)  # keyed: a stolen table is useless without the pepper
    used_at = models.DateTimeField(null=True)

    def __str__(self) -> str:
        return f"recovery code of {self.factor_id}"


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


class ChartReader(models.Model):
    """Somebody whom the site named to see charts split by welder and inspector. Ended, never deleted."""

    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    named_by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")  # none: the shell
    named_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["person"], condition=models.Q(ended_at=None), name="people_chart_reader_open_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person_id} reads charts by person"


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
        TABLET = "tablet", "PIN on a tablet"  # given without network, verified by the server afterwards

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


class Tablet(models.Model):
    """A shared tablet of the floor: enrolled once by a code, known by its cookie, revoked when it is lost."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    name = models.CharField(max_length=60, unique=True)
    place = models.CharField(max_length=60, blank=True)
    made_by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    code_digest = models.CharField(max_length=64, blank=True)  # of the code to enrol with; empty once it is used
    code_until = models.DateTimeField(null=True)
    token_digest = models.CharField(max_length=64, blank=True, db_index=True)  # of what its cookie holds
    enrolled_at = models.DateTimeField(null=True)
    revoked_at = models.DateTimeField(null=True)
    last_contact_at = models.DateTimeField(null=True)
    unsent = models.IntegerField(default=0)  # as it said itself at the last contact
    unsent_since = models.DateTimeField(null=True)
    version = models.CharField(max_length=40, blank=True)  # of the pages it keeps

    def __str__(self) -> str:
        return self.name


class TabletKey(WriteOnceModel):
    """A person's two public keys on one tablet (ECDSA, P-256): one proves entries, one signatures.

    The private ones lie on the tablet, sealed by the PIN. The latest key of a person on a tablet opens sessions;
    earlier ones still prove the entries that were made with them.
    """

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    tablet = models.ForeignKey(Tablet, on_delete=models.PROTECT, related_name="keys")
    person = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="tablet_keys")
    entry_key = models.CharField(max_length=100)  # base64 of the uncompressed point
    sign_key = models.CharField(max_length=100)
    pin_print = models.CharField(max_length=64)  # SHA-256 of the PIN's stored hash: another PIN ends the key
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.person_id} on {self.tablet_id}"


class AsideEntry(WriteOnceModel):
    """An entry that is no result: sent by a revoked tablet and to be judged, or discarded on a tablet by a person."""

    class Why(models.TextChoices):
        REVOKED = "revoked", "sent by a revoked tablet"
        DISCARDED = "discarded", "discarded on the tablet"

    operation = models.CharField(max_length=64)  # the identifier it gives itself
    body_digest = models.CharField(max_length=64)
    body = models.TextField()  # JSON as sent
    why = models.CharField(max_length=12, choices=Why.choices)
    tablet = models.ForeignKey(Tablet, null=True, on_delete=models.PROTECT, related_name="+")
    by = models.ForeignKey(Person, null=True, on_delete=models.PROTECT, related_name="+")  # who discarded it
    reason = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["operation", "body_digest", "why"], name="people_aside_entry_once"),
        ]

    def __str__(self) -> str:
        return f"{self.operation} {self.why}"


class AsideDecision(WriteOnceModel):
    """What a person decided about an entry of a revoked tablet."""

    entry = models.OneToOneField(AsideEntry, on_delete=models.PROTECT, related_name="decision")
    accepted = models.BooleanField()
    reason = models.CharField(max_length=300)
    by = models.ForeignKey(Person, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.entry_id} {'accepted' if self.accepted else 'refused'}"
