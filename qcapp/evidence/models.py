"""Pictures and documents that prove something: bytes in the data folder by digest, rows that say what they are."""

from __future__ import annotations

from django.db import models

from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import WriteOnceModel


class EvidenceFile(WriteOnceModel):
    """One kept file. Two rows may name the same bytes: each says who kept them, when, and under which name."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    digest = models.CharField(max_length=64, db_index=True)  # SHA-256 of the kept bytes, in hex
    path = models.CharField(max_length=200)  # below the data folder
    media_type = models.CharField(max_length=40)
    size = models.IntegerField()  # in bytes
    width = models.IntegerField(null=True)  # in pixels, of pictures
    height = models.IntegerField(null=True)
    pages = models.IntegerField(null=True)  # of documents
    name = models.CharField(max_length=120)  # as the person's device called it
    kept_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    kept_at = models.DateTimeField()

    def __str__(self) -> str:
        return self.name
