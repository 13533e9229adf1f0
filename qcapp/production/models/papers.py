"""What has to hold on the day of the work: welders, fixtures and inspectors, each with dates."""

from __future__ import annotations

from django.db import models
from django.db.models.functions import Lower

from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import WriteOnceModel


class Fixture(WriteOnceModel):
    """What parts are held in for welding or measuring; verified at an interval, as a gauge is calibrated."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    number = models.CharField(max_length=20)  # "TF-03", as on its plate
    name = models.CharField(max_length=80)
    interval_months = models.IntegerField(default=12)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(Lower("number"), name="production_fixture_number_once")]

    def __str__(self) -> str:
        return self.number


class FixtureVerification(WriteOnceModel):
    """A fixture measured against its drawing. The latest one counts."""

    fixture = models.ForeignKey(Fixture, on_delete=models.PROTECT, related_name="verifications")
    done_on = models.DateField()
    due_on = models.DateField()
    passed = models.BooleanField()
    document = models.CharField(max_length=60, blank=True)
    remark = models.CharField(max_length=300, blank=True)
    done_by = models.CharField(max_length=120)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.fixture_id} {self.done_on}"


class InspectorAuthorisation(WriteOnceModel):
    """An inspector may judge by this method, until when. The one that holds longest counts."""

    class Method(models.TextChoices):
        VISUAL = "visual", "visual weld inspection"
        PENETRANT = "penetrant", "penetrant inspection"
        LEAK = "leak", "leak test"

    inspector = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    method = models.CharField(max_length=12, choices=Method.choices)
    certificate = models.CharField(max_length=60)
    issued_on = models.DateField()
    expires_on = models.DateField()  # last day, included
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(expires_on__gte=models.F("issued_on")), name="production_authorisation_dates"
            )
        ]

    def __str__(self) -> str:
        return f"{self.inspector_id} {self.method}"


class EyesightCheck(WriteOnceModel):
    """An inspector's eyes were checked; one that passed holds for a year."""

    inspector = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    done_on = models.DateField()
    passed = models.BooleanField()
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.inspector_id} {self.done_on}"


class QualificationConfirmation(WriteOnceModel):
    """The welding coordinator signed that the welder has gone on welding by the process of a qualification."""

    qualification = models.ForeignKey(
        "production.WelderQualification", on_delete=models.PROTECT, related_name="confirmations"
    )
    confirmed_on = models.DateField()
    holds_until = models.DateField()  # last day, included: six months on
    joints = models.IntegerField()  # recorded here in the six months before, by that process
    last_weld_on = models.DateField(null=True)
    evidence = models.CharField(max_length=300, blank=True)  # of work that is not recorded here
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.qualification_id} until {self.holds_until}"
