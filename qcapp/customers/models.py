"""Customers, their orders, what was dispatched to them, and what happened to it afterwards."""

from __future__ import annotations

from django.db import models

from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import WriteOnceModel


class Customer(models.Model):
    """Who buys. Seen only by those who need it."""

    number = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    lookup = models.CharField(max_length=120, db_index=True)
    contact = models.CharField(max_length=200, blank=True)

    def __str__(self) -> str:
        return self.number


class Order(models.Model):
    """A customer's order; a unit names it by its number."""

    number = models.CharField(max_length=40, unique=True)
    lookup = models.CharField(max_length=40, db_index=True)
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="orders")
    approves_concessions = models.BooleanField(default=False)  # each one needs the customer's approval
    due_on = models.DateField(null=True)  # the day that its units are to leave
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.number


class Dispatch(WriteOnceModel):
    """The signed act that hands a unit over with an issue of its certificate."""

    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="dispatches")
    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="dispatches")
    certificate = models.ForeignKey("certificates.Certificate", on_delete=models.PROTECT, related_name="+")
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"dispatch of {self.item_id}"


class ServiceEvent(WriteOnceModel):
    """What happened to a unit after it left."""

    class Kind(models.TextChoices):
        COMPLAINT = "complaint", "complaint"
        ACCIDENT = "accident", "accident"
        REPAIR = "repair", "repair"
        WARRANTY = "warranty", "warranty"
        RECALL_WORK = "recall_work", "recall work done"

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="service_events")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    happened_on = models.DateField()
    text = models.CharField(max_length=600)
    report = models.CharField(max_length=24, blank=True)  # the nonconformance report that it raised
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.kind} {self.happened_on}"


class ServicePhoto(WriteOnceModel):
    """A photo kept with a service event."""

    event = models.ForeignKey(ServiceEvent, on_delete=models.PROTECT, related_name="photos")
    photo = models.ForeignKey("evidence.EvidenceFile", on_delete=models.PROTECT, related_name="+")

    def __str__(self) -> str:
        return f"photo of {self.event_id}"
