"""Messages to people. The row is the inbox and the outbox at once: it is written with what it tells of."""

from __future__ import annotations

from django.db import models

from qcapp.lib.write_once import WriteOnceModel

from .kinds import Kind

KINDS = [(kind.value, kind.label) for kind in Kind]


class Picture(WriteOnceModel):
    """What a message shows beside its words, as it was when it was told: a chart later looks different."""

    drawn = models.TextField()  # SVG in the page's classes, for the inbox in every theme
    file = models.TextField()  # the same as an SVG that stands alone, for e-mail
    alternative = models.TextField()  # what it shows, in words
    at = models.DateTimeField()

    def __str__(self) -> str:
        return self.alternative[:60]


class Message(models.Model):
    """One message to one person. `mail_due` is when e-mail is tried next; empty when none is owed (any more)."""

    to = models.ForeignKey("people.Person", on_delete=models.PROTECT, related_name="messages")
    key = models.CharField(max_length=160)  # the same key tells a person the same thing once
    kind = models.CharField(max_length=24, choices=KINDS, default=Kind.OTHER.value)
    subject = models.CharField(max_length=160)
    text = models.CharField(max_length=1000)
    link = models.CharField(max_length=200, blank=True)  # an address of this site
    about = models.CharField(max_length=120, blank=True)  # "report NCR-2026-0031"
    at = models.DateTimeField()
    read_at = models.DateTimeField(null=True)
    mail_due = models.DateTimeField(null=True)
    mail_sent_at = models.DateTimeField(null=True)
    mail_attempts = models.IntegerField(default=0)
    mail_problem = models.CharField(max_length=300, blank=True)
    picture = models.ForeignKey(Picture, on_delete=models.PROTECT, null=True, related_name="messages")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["to", "key"], name="shop_messages_told_once")]
        indexes = [
            models.Index(fields=["to", "-id"], name="shop_messages_inbox"),
            models.Index(fields=["to"], condition=models.Q(read_at=None), name="shop_messages_unread"),
            models.Index(fields=["mail_due"], condition=models.Q(mail_due__isnull=False), name="shop_messages_outbox"),
        ]

    def __str__(self) -> str:
        return f"to {self.to_id}: {self.subject}"


class MailChoice(models.Model):
    """For which kinds a person wants e-mail as well. Without a row, for none."""

    person = models.OneToOneField("people.Person", on_delete=models.PROTECT, related_name="mail_choice")
    kinds = models.JSONField(default=list)

    def __str__(self) -> str:
        return f"{self.person_id}: {len(self.kinds)} kinds"
