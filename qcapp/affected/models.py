"""Lists of affected units: the question as asked and the answer as known then, and which papers refer to it."""

from __future__ import annotations

from django.db import models

from qcapp.lib.write_once import WriteOnceModel


class KeptList(WriteOnceModel):
    """A question and its answer as the records stood, under a name that others refer to."""

    number = models.CharField(max_length=20, unique=True)  # "AL-2026-0001"
    name = models.CharField(max_length=120)
    question = models.TextField()  # in the notation of asking.py
    answer = models.TextField()  # canonical JSON: every unit as it stood; customers by number
    digest = models.CharField(max_length=64)  # of the answer
    units = models.IntegerField()
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.number} {self.name}"


class ListUse(WriteOnceModel):
    """A paper that was written from a list: the report that holds its units, a field action that writes to owners."""

    class Kind(models.TextChoices):
        HOLD = "hold", "on hold by"
        FIELD_ACTION = "field_action", "written to by"

    kept = models.ForeignKey(KeptList, on_delete=models.PROTECT, related_name="uses")
    kind = models.CharField(max_length=16, choices=Kind.choices)
    paper = models.CharField(max_length=24)  # "NCR-2026-0031", "FA-2026-0002"
    units = models.IntegerField()
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.kept_id} {self.paper}"
