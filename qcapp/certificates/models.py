"""Release of a unit, and the certificate in numbered issues, frozen as text and rendered from that alone."""

from __future__ import annotations

from django.db import models

from qcapp.lib.fields import uuid7
from qcapp.lib.write_once import WriteOnceModel


class Release(WriteOnceModel):
    """A release given or withdrawn, by a signature. The latest row of an item counts."""

    class Kind(models.TextChoices):
        GIVEN = "given", "release"
        WITHDRAWN = "withdrawn", "release withdrawn"

    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="releases")
    kind = models.CharField(max_length=12, choices=Kind.choices)
    reason = models.CharField(max_length=300, blank=True)
    checks = models.TextField()  # canonical JSON: each release check with its finding at that moment
    signature = models.OneToOneField("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"{self.item_id} {self.kind}"


class Certificate(WriteOnceModel):
    """One issue of an item's certificate. `content` is everything it says; a correction is the next issue."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    token = models.CharField(max_length=43, unique=True)  # random, in the QR code: the check page's key
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="certificates")
    release = models.ForeignKey(Release, on_delete=models.PROTECT, related_name="certificates")
    number = models.CharField(max_length=24)  # "FR-2026-0211", the same for all issues
    issue = models.SmallIntegerField()
    content = models.TextField()  # canonical JSON
    digest = models.CharField(max_length=64)
    change_note = models.CharField(max_length=300, blank=True)  # what changed since the issue before
    issued_by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    issued_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["number", "issue"], name="certificates_issue_once"),
            models.UniqueConstraint(fields=["item", "issue"], name="certificates_item_issue_once"),
        ]

    def __str__(self) -> str:
        return f"{self.number} issue {self.issue}"


class CertificateWithdrawal(WriteOnceModel):
    """An issue that no longer stands, and why. The document itself is untouched."""

    certificate = models.OneToOneField(Certificate, on_delete=models.PROTECT, related_name="withdrawal")
    reason = models.CharField(max_length=300)
    signature = models.ForeignKey("people.Signature", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return f"withdrawal of {self.certificate_id}"


class SigningCertificate(WriteOnceModel):
    """The public side of a key that certificates are or were signed with: what it signed stays checkable."""

    fingerprint = models.CharField(max_length=64, unique=True)  # SHA-256 of the certificate's DER bytes
    pem = models.TextField()
    subject = models.CharField(max_length=300)
    valid_from = models.DateTimeField()
    valid_until = models.DateTimeField()
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.fingerprint


class CertificateFile(WriteOnceModel):
    """The signed PDF, kept in the data folder by digest: asking again gives the same bytes. Each language and each
    paper is a file of its own of one issue.
    """

    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, related_name="files")
    language = models.CharField(max_length=5, default="en")
    paper = models.CharField(max_length=6, default="A4")
    digest = models.CharField(max_length=64)
    path = models.CharField(max_length=200)  # below the data folder
    size = models.IntegerField()
    rendered_at = models.DateTimeField()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["certificate", "language", "paper"], name="certificates_file_once"),
        ]
        indexes = [models.Index(fields=["digest"], name="certificates_file_digest")]  # the check of a dropped PDF

    def __str__(self) -> str:
        return self.path


class Batch(WriteOnceModel):
    """Certificates asked for together: one issue for each unit, made in the background."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return str(self.uuid)


class BatchUnit(WriteOnceModel):
    """One unit of a batch."""

    batch = models.ForeignKey(Batch, on_delete=models.PROTECT, related_name="units")
    item = models.ForeignKey("production.Item", on_delete=models.PROTECT, related_name="+")
    serial = models.CharField(max_length=40)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["batch", "item"], name="certificates_batch_unit_once")]

    def __str__(self) -> str:
        return self.serial


class BatchOutcome(WriteOnceModel):
    """What became of a unit of a batch: its certificate, or why there is none. One row, whoever came first."""

    unit = models.OneToOneField(BatchUnit, on_delete=models.PROTECT, related_name="outcome")
    certificate = models.ForeignKey(Certificate, on_delete=models.PROTECT, null=True, related_name="+")
    code = models.CharField(max_length=60, blank=True)
    message = models.TextField(blank=True)
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.code or "issued"


class Notice(WriteOnceModel):
    """What another system is told about a certificate; written in the transaction of what it tells."""

    uuid = models.UUIDField(default=uuid7, unique=True, editable=False)
    event = models.CharField(max_length=40)
    body = models.TextField()  # canonical JSON, sent and signed exactly so
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.event


class NoticeTry(WriteOnceModel):
    """One try to deliver a notice, and how it ended."""

    notice = models.ForeignKey(Notice, on_delete=models.PROTECT, related_name="tries")
    number = models.SmallIntegerField()
    delivered = models.BooleanField()
    answer = models.CharField(max_length=200)
    at = models.DateTimeField()

    class Meta:
        constraints = [models.UniqueConstraint(fields=["notice", "number"], name="certificates_try_once")]

    def __str__(self) -> str:
        return self.answer


class PaperChoice(WriteOnceModel):
    """What a family's certificates hold and look like. The latest row counts; issued ones keep what they say."""

    family = models.ForeignKey("production.PartFamily", on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=16)
    language = models.CharField(max_length=5)
    paper = models.CharField(max_length=6)
    lengths = models.CharField(max_length=4)
    names = models.BooleanField()
    welds = models.BooleanField()
    cautions = models.BooleanField()
    pictures = models.BooleanField(default=True)
    drawing = models.BooleanField(default=False)
    statistics = models.BooleanField(default=False)
    materials = models.BooleanField(default=True)
    components = models.BooleanField(default=True)
    reports = models.BooleanField(default=True)
    first_articles = models.BooleanField(default=True)
    by = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.kind
