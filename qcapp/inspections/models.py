"""Results and what is built on them. A result is never edited: a correction is a new row that names the old one."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Left

from qcapp.core.checkpoints.kinds import Outcome
from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import WriteOnceModel

OUTCOME_CHOICES = [(outcome.value, outcome.value) for outcome in Outcome]


class Adoption(WriteOnceModel):
    """An item is inspected to this plan revision from now on. The latest row counts."""

    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="adoptions")
    revision = models.ForeignKey("plans.PlanRevision", on_delete=models.PROTECT, related_name="adoptions")
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.item_id} on {self.revision_id}"


TEXT_INDEXED = 120  # characters of a recorded text that the index over them holds


class Result(WriteOnceModel):
    """One answer to one checkpoint for one item in one round by one inspection (first, second, deciding third).

    Which answer counts is a pure function of the rows of one (item, checkpoint, round, inspection): those that no
    other row replaces. More than one of them is a conflict. So the order in which rows arrive does not matter.
    """

    class Inspection(models.IntegerChoices):
        FIRST = 1, "first inspection"
        SECOND = 2, "second inspection"
        THIRD = 3, "deciding third inspection"

    class Purpose(models.TextChoices):
        READING = "reading", "reading"
        REPEAT = "repeat", "measured again"
        CORRECTION = "correction", "correction of an entry"
        COMPUTED = "computed", "computed from other checkpoints"
        CARRIED = "carried", "carried over from another plan revision"

    operation = models.UUIDField(unique=True)  # UUIDv7 made on the tablet
    body_digest = models.CharField(max_length=64)  # the same operation with another body is refused
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="results")
    checkpoint = models.ForeignKey("plans.Checkpoint", on_delete=models.PROTECT, related_name="results")
    characteristic = models.ForeignKey("plans.Characteristic", on_delete=models.PROTECT, related_name="results")
    round = models.SmallIntegerField()
    inspection = models.SmallIntegerField(choices=Inspection.choices)
    purpose = models.CharField(max_length=12, choices=Purpose.choices)
    answer = models.TextField()  # canonical JSON; typed values as text
    raw = models.CharField(max_length=200, blank=True)  # as typed or sent by the gauge
    outcome = models.CharField(max_length=20, choices=OUTCOME_CHOICES)
    excess = models.CharField(max_length=40, blank=True)  # how far outside, as text
    nearest_limit = models.CharField(max_length=5, blank=True)
    plot = models.FloatField(null=True)  # for charts only; never compared with a limit
    gauge = models.ForeignKey("gauges.Gauge", null=True, on_delete=models.PROTECT, related_name="results")
    expanded_uncertainty = models.CharField(max_length=40, blank=True)  # what the verdict was computed with
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="results")
    sent_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    device = models.CharField(max_length=60)
    recorded_at = models.DateTimeField()  # the tablet's clock, corrected by nothing
    received_at = models.DateTimeField()  # the server's clock
    base = models.UUIDField(null=True)  # what the person had seen when answering, as sent
    replaces = models.JSONField(default=list)  # operations this row takes the place of; they may arrive after it
    reason = models.CharField(max_length=300, blank=True)
    flags = models.JSONField(default=list)  # codes: why this result does not count as proof until decided
    digest = models.CharField(max_length=64)  # of the row's canonical content

    class Meta:
        indexes = [
            models.Index(fields=["item", "checkpoint", "round"], name="inspections_result_item"),  # a unit's page
            models.Index(fields=["characteristic", "-id"], name="inspections_result_charact"),  # a trace
            models.Index(fields=["gauge", "recorded_at"], name="inspections_result_gauge"),  # a gauge's readings
            models.Index(  # who shares a heat, lot or fixture; its beginning only, as an index takes no long texts
                F("characteristic"),
                Left("answer", TEXT_INDEXED),
                condition=Q(outcome="recorded"),
                name="inspections_result_text",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item_id}/{self.checkpoint_id}: {self.outcome}"


class CurrentAnswer(models.Model):
    """The answer that counts now: a projection of Result, rebuilt by `manage.py rebuild_answers` and checked there."""

    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="answers")
    checkpoint = models.ForeignKey("plans.Checkpoint", on_delete=models.PROTECT, related_name="+")
    round = models.SmallIntegerField()
    inspection = models.SmallIntegerField(choices=Result.Inspection.choices)
    result = models.OneToOneField(Result, on_delete=models.PROTECT, related_name="current_for")  # the latest head
    conflict = models.BooleanField(default=False)  # two tablets answered without seeing each other

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["item", "checkpoint", "round", "inspection"], name="inspections_answer_once"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.item_id}/{self.checkpoint_id} round {self.round}"


class Reinspection(WriteOnceModel):
    """A checkpoint opened again for an item in a new round, and what asked for it."""

    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="reinspections")
    checkpoint = models.ForeignKey("plans.Checkpoint", on_delete=models.PROTECT, related_name="+")
    round = models.SmallIntegerField()
    source = models.CharField(max_length=60)  # "NCR-2026-0031"
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["item", "checkpoint", "round"], name="inspections_reinspection_round_once"),
        ]

    def __str__(self) -> str:
        return f"{self.item_id}/{self.checkpoint_id} round {self.round}"


class StageSignOff(WriteOnceModel):
    """A stage recorded truly and completely. Valid while the digest still covers the answers that count now."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="sign_offs")
    stage = models.ForeignKey("plans.Stage", on_delete=models.PROTECT, related_name="sign_offs")
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    covers = models.CharField(max_length=64)  # SHA-256 over the sorted operation ids of the stage's answers
    answers = models.IntegerField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.item_id} stage {self.stage_id}"


class ResultDecision(WriteOnceModel):
    """A signed decision on a result that does not count by itself: near limit on a critical checkpoint, or flagged."""

    result = models.ForeignKey(Result, on_delete=models.PROTECT, related_name="decisions")
    accepted = models.BooleanField()
    about = models.CharField(max_length=40)  # "near_limit" or a flag's code
    reason = models.CharField(max_length=300)
    signature = models.ForeignKey("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["result", "about"], name="inspections_decision_once"),
        ]

    def __str__(self) -> str:
        return f"{self.result_id} {self.about}"


class PaperSheet(WriteOnceModel):
    """A stage's results keyed in from a sheet of paper: who measured, when, who keyed them, and the sheet's scan."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="paper_sheets")
    stage = models.ForeignKey("plans.Stage", on_delete=models.PROTECT, related_name="+")
    inspection = models.SmallIntegerField(choices=Result.Inspection.choices)
    scan = models.ForeignKey("evidence.EvidenceFile", on_delete=models.PROTECT, related_name="+")
    measured_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    measured_at = models.DateTimeField()
    keyed_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    keyed_at = models.DateTimeField()
    operations = models.JSONField(default=list)  # of the results that were keyed

    def __str__(self) -> str:
        return f"{self.item_id} stage {self.stage_id}, keyed"


class PaperCheck(WriteOnceModel):
    """Another person held what was keyed against the sheet; `differing` are the operations that do not say the same."""

    sheet = models.OneToOneField(PaperSheet, on_delete=models.PROTECT, related_name="check_of_keying")
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    differing = models.JSONField(default=list)
    reason = models.CharField(max_length=300, blank=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.sheet_id} checked"


class Photo(WriteOnceModel):
    """A picture taken at a checkpoint. The mark lies beside it, not in it, so the picture stays as it was taken."""

    operation = models.UUIDField(unique=True)  # UUIDv7 made on the tablet: sending twice is harmless
    body_digest = models.CharField(max_length=64)
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="photos")
    checkpoint = models.ForeignKey("plans.Checkpoint", on_delete=models.PROTECT, related_name="+")
    round = models.SmallIntegerField()
    inspection = models.SmallIntegerField(choices=Result.Inspection.choices)
    of_result = models.UUIDField(null=True)  # the answer it belongs to, by its operation; it may arrive after it
    file = models.ForeignKey("evidence.EvidenceFile", on_delete=models.PROTECT, related_name="+")
    marks = models.JSONField(default=list)  # [[x, y], …] in thousandths of the width and of the height
    note = models.CharField(max_length=200, blank=True)
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    device = models.CharField(max_length=60)
    taken_at = models.DateTimeField()  # the tablet's clock
    received_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["item", "checkpoint"], name="inspections_photo_item")]

    def __str__(self) -> str:
        return f"{self.item_id}/{self.checkpoint_id} photo"


class Remark(WriteOnceModel):
    """What was said at a checkpoint beside its answer: a note, why it cannot be checked now, how the part stood."""

    class Kind(models.TextChoices):
        NOTE = "note", "note"
        NOT_NOW = "not_now", "cannot be checked now"
        SETUP = "setup", "set-up and condition"

    operation = models.UUIDField(unique=True)
    body_digest = models.CharField(max_length=64)
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="remarks")
    checkpoint = models.ForeignKey("plans.Checkpoint", on_delete=models.PROTECT, related_name="+")
    round = models.SmallIntegerField()
    inspection = models.SmallIntegerField(choices=Result.Inspection.choices)
    kind = models.CharField(max_length=8, choices=Kind.choices)
    text = models.CharField(max_length=300)
    person = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    device = models.CharField(max_length=60)
    written_at = models.DateTimeField()  # the tablet's clock
    received_at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["item", "checkpoint"], name="inspections_remark_item")]

    def __str__(self) -> str:
        return f"{self.item_id}/{self.checkpoint_id} {self.kind}"


class PlanChoice(WriteOnceModel):
    """What was decided for an item when another plan revision was there: to stay, or to adopt it. Signed."""

    class Choice(models.TextChoices):
        ADOPT = "adopt", "adopt"
        STAY = "stay", "stay"

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="plan_choices")
    choice = models.CharField(max_length=8, choices=Choice.choices)
    from_revision = models.ForeignKey("plans.PlanRevision", on_delete=models.PROTECT, related_name="+")
    to_revision = models.ForeignKey("plans.PlanRevision", on_delete=models.PROTECT, related_name="+")
    adoption = models.OneToOneField(Adoption, null=True, on_delete=models.PROTECT, related_name="choice")
    reason = models.CharField(max_length=300)
    signature = models.ForeignKey("people.Signature", on_delete=models.PROTECT, related_name="+")
    covers = models.CharField(max_length=64)  # SHA-256 of what the preview showed
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.item_id} {self.choice} {self.to_revision_id}"


class CarriedAnswer(WriteOnceModel):
    """An answer that was taken over from one revision's checkpoint to another's. The old row stays as it is."""

    class How(models.TextChoices):
        CARRIED = "carried", "carried over, same definition"
        JUDGED = "judged", "judged again, other limits"

    choice = models.ForeignKey(PlanChoice, null=True, on_delete=models.PROTECT, related_name="carried")
    decision = models.ForeignKey(ResultDecision, null=True, on_delete=models.PROTECT, related_name="carried")
    source = models.ForeignKey(Result, on_delete=models.PROTECT, related_name="carried_to")
    result = models.OneToOneField(Result, on_delete=models.PROTECT, related_name="carried_from")
    how = models.CharField(max_length=8, choices=How.choices)
    judged_as = models.CharField(max_length=20, choices=OUTCOME_CHOICES)  # by the new limits alone
    at = models.DateTimeField()

    class Meta:
        constraints = [
            # one reason: the signed choice of a plan, or the signed decision on an answer to another revision
            models.CheckConstraint(
                condition=models.Q(choice__isnull=True) ^ models.Q(decision__isnull=True),
                name="inspections_carried_one_reason",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.source_id} to {self.result_id}"


class Applicability(WriteOnceModel):
    """Whether a checkpoint applies to one unit, decided and signed. The latest row counts; none means that it does."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="applicabilities")
    characteristic = models.ForeignKey("plans.Characteristic", on_delete=models.PROTECT, related_name="+")
    applies = models.BooleanField()
    reason = models.CharField(max_length=300)
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["item"], name="inspections_applies_item")]

    def __str__(self) -> str:
        return f"{self.item_id}/{self.characteristic_id} {'applies' if self.applies else 'does not apply'}"


class FirstArticle(WriteOnceModel):
    """The first unit after a new revision, fixture, machine or supplier: following ones wait until it is accepted."""

    class Cause(models.TextChoices):
        REVISION = "revision", "new revision"
        FIXTURE = "fixture", "new fixture"
        MACHINE = "machine", "new machine"
        SUPPLIER = "supplier", "new supplier"

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="first_articles")
    family = models.ForeignKey("production.PartFamily", on_delete=models.PROTECT, related_name="+")
    unit_number = models.IntegerField()  # units with a higher running number wait
    stage_number = models.IntegerField()
    cause = models.CharField(max_length=12, choices=Cause.choices)
    about = models.CharField(max_length=160)  # "fixture TF-03", "revision E"
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["family"], name="inspections_first_article")]

    def __str__(self) -> str:
        return f"{self.item_id} stage {self.stage_number}"


class FirstArticleDecision(WriteOnceModel):
    """The signed decision on a first article. Not accepted: the following units go on waiting for another one."""

    article = models.OneToOneField(FirstArticle, on_delete=models.PROTECT, related_name="decision")
    accepted = models.BooleanField()
    reason = models.CharField(max_length=300)
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.article_id} {'accepted' if self.accepted else 'not accepted'}"


class Witness(WriteOnceModel):
    """What was recorded at a witness point. The latest counts, and goes on counting after another plan was adopted."""

    class What(models.TextChoices):
        ASKED = "asked", "asked to come"
        PRESENT = "present", "was present"
        WAIVED = "waived", "attendance waived"

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="witnesses")
    stage_number = models.IntegerField()
    what = models.CharField(max_length=8, choices=What.choices)
    whom = models.CharField(max_length=120)  # the customer's witness, or who waived it for the customer
    note = models.CharField(max_length=300, blank=True)  # for a waiver the reason
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["item"], name="inspections_witness_item")]

    def __str__(self) -> str:
        return f"{self.item_id} stage {self.stage_number} {self.what}"
