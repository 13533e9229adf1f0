"""The audit chain and the numbers that may have no gap. Written by every room, so it lies at the bottom."""

from __future__ import annotations

from django.db import models

from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import WriteOnceModel


class Entry(WriteOnceModel):
    """One act. The digest covers the header, the digest of the payload and the digest of the entry before.

    People and subjects are named by text, not by foreign key: the chain must stay readable, and checkable,
    from its own two tables alone.
    """

    number = models.BigIntegerField(unique=True)
    at = models.DateTimeField()
    verb = models.CharField(max_length=40)  # a value of verbs.Verb, held by the one service that writes here
    actor = models.CharField(max_length=40, blank=True)  # a person's uuid, or empty for the system itself
    subject = models.CharField(max_length=120)  # "unit FR-200-0147", "plan FR-200 D"
    header = models.TextField()  # canonical JSON of number, at, verb, actor, subject, payload digest
    payload_digest = models.CharField(max_length=64)
    previous_digest = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)

    class Meta:
        verbose_name_plural = "entries"
        indexes = [
            models.Index(fields=["subject", "number"], name="audit_entry_subject"),  # the history of one thing
            models.Index(fields=["at"], name="audit_entry_at"),  # what happened between two times
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.verb} {self.subject}"


class Payload(WriteOnceModel):
    """What an entry is about, kept apart so that a name in it can be redacted later without breaking the
    chain.
    """

    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="payload")
    body = models.TextField()  # canonical JSON

    def __str__(self) -> str:
        return f"payload of {self.entry_id}"


class ChainHead(models.Model):
    """The last entry's number and digest: one row, created at the first act, locked last in a transaction."""

    number = models.BigIntegerField(default=0)
    digest = models.CharField(max_length=64)
    epoch = models.UUIDField(default=uuid7)  # which life of the chain its anchors belong to

    def __str__(self) -> str:
        return f"head {self.number}"


class Counter(models.Model):
    """The last number given in a series without gaps, such as the nonconformance reports of a year."""

    series = models.CharField(max_length=40, unique=True)
    last = models.IntegerField(default=0)

    def __str__(self) -> str:
        return f"{self.series}: {self.last}"
