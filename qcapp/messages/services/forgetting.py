"""Messages are told once and then forgotten: after the period, and with the person they went to."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from ..models import MailChoice, Message

if TYPE_CHECKING:
    from qcapp.people.models import Person


def forget_messages(*, before: datetime) -> int:
    """Delete messages of before that time for which no e-mail is owed; gives how many."""
    return Message.objects.filter(at__lt=before, mail_due=None).delete()[0]


def forget_messages_to(*, person: Person) -> int:
    """Delete every message to the person and their choice of e-mail; gives how many messages."""
    MailChoice.objects.filter(person=person).delete()
    return Message.objects.filter(to=person).delete()[0]
