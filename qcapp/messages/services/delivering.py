"""E-mail for what waits in the outbox, outside every act of the work, tried again with growing waits."""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import datetime, timedelta
from email.mime.image import MIMEImage
from smtplib import SMTPException
from typing import TYPE_CHECKING

from django.conf import settings
from django.core.mail import EmailMultiAlternatives
from django.db import transaction
from django.db.models import Q
from django.template.loader import render_to_string
from django.utils.translation import override

from qcapp.core.errors import NotFound
from qcapp.lib.charts import drawn_as_png
from qcapp.lib.pdf import PdfNotMade
from qcapp.lib.spoken import office_language_of, said
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.people.queries import is_here
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import Message

if TYPE_CHECKING:
    from qcapp.people.models import Person

log = logging.getLogger("qcapp.messages")

WAITS = (1, 5, 15, 60, 240, 720, 1440)  # minutes after each try in vain; the last one again and again
AT_ONCE = 200
DEMONSTRATION = "Demonstration, invented. Nothing in it is valid."


@dataclass(frozen=True)
class Delivered:
    """What one run did. `failed` stay in the outbox; `dropped` were owed to people who left."""

    sent: int = 0
    failed: int = 0
    dropped: int = 0


def wait_after(attempts: int) -> timedelta:
    """How long to wait after so many tries in vain."""
    return timedelta(minutes=WAITS[min(attempts, len(WAITS)) - 1])


def deliver_due(*, at: datetime, limit: int = AT_ONCE) -> Delivered:
    """Send what is due. Call it outside a transaction, by a timer and not by a request.

    Each one is claimed first, so that two runs at once send it once; whatever the server says is kept beside it. A
    process that dies between sending and noting it sends again after the wait, under the same Message-ID.
    """
    # Later than the longest wait was written while the clock was ahead, and would wait for that day.
    wrong = Q(mail_due__gt=at + timedelta(minutes=WAITS[-1] + 1))
    due = Message.objects.filter(Q(mail_due__lte=at) | wrong).order_by("mail_due", "id")
    counts = {"sent": 0, "failed": 0, "dropped": 0}
    for key in list(due.values_list("pk", flat=True)[:limit]):
        if row := _claim(key, at):
            counts[_try(row, at)] += 1
    return Delivered(**counts)


@transaction.atomic
def try_again(*, by: Person, message_id: int, at: datetime) -> None:
    """Put an undelivered e-mail at the front, for the next run. Raises NotAllowed, NotFound `mail_unknown`."""
    require(by, Act.KEEP_MAIL, at)
    owed = Message.objects.filter(pk=message_id, mail_due__isnull=False)
    if not owed.update(mail_due=at):
        raise NotFound("mail_unknown", "This e-mail is not owed any more; look at the list again.")


def _claim(key: int, at: datetime) -> Message | None:
    """The row with its next try put off, or None where another run was first."""
    row = Message.objects.select_related("to", "picture").filter(pk=key).first()
    if row is None or row.mail_due is None:
        return None
    attempts = row.mail_attempts + 1
    mine = Message.objects.filter(pk=key, mail_due=row.mail_due, mail_attempts=row.mail_attempts)
    if not mine.update(mail_attempts=attempts, mail_due=at + wait_after(attempts)):
        return None
    row.mail_attempts = attempts
    return row


def _try(row: Message, at: datetime) -> str:
    if not is_here(row.to, at):
        Message.objects.filter(pk=row.pk).update(mail_due=None, mail_problem="the receiver has left")
        return "dropped"
    problem = _send(row)
    if problem:
        log.warning("message %s was not delivered, try %s: %s", row.pk, row.mail_attempts, problem)
        Message.objects.filter(pk=row.pk).update(mail_problem=problem[:300])
        return "failed"
    Message.objects.filter(pk=row.pk).update(mail_due=None, mail_sent_at=at, mail_problem="")
    return "sent"


def _send(row: Message) -> str:
    """What went wrong, empty where the server took it."""
    if not row.to.email:
        return "no e-mail address is known of this person"
    with override(office_language_of(row.to)):
        subject = " ".join(said(row.subject).split())
        mail = WithPicture(subject=subject, body=body_of(row), to=[row.to.email])
        _show(row, mail)
    mail.extra_headers["Message-ID"] = f"<qcapp-message-{row.pk}@{settings.QCAPP_PUBLIC_URL.partition('//')[2]}>"
    try:
        mail.send(fail_silently=False)
    except (OSError, SMTPException, ValueError) as trouble:
        return f"{type(trouble).__name__}: {trouble}"
    return ""


class WithPicture(EmailMultiAlternatives):
    """An e-mail whose attachment is shown in its page, not beside it."""

    mixed_subtype = "related"


def _show(row: Message, mail: EmailMultiAlternatives) -> None:
    """The picture inside the e-mail, with its words for whoever does not see it (RFC 2387, RFC 2392).

    A picture that cannot be drawn keeps no e-mail back: the words say the same.
    """
    if not row.picture:
        return
    try:
        png = drawn_as_png(shown_drawing(row.picture.file), scale=1.0)
    except PdfNotMade as trouble:
        log.warning("message %s goes without its picture: %s", row.pk, trouble.message)
        return
    name = f"picture-{row.picture.pk}"
    image = MIMEImage(png, "png")
    image.add_header("Content-ID", f"<{name}>")
    image.add_header("Content-Disposition", "inline", filename=f"{name}.png")
    context = {"message": row, "name": name, "site": settings.QCAPP_PUBLIC_URL, "demonstration": settings.QCAPP_DEMO}
    mail.attach_alternative(render_to_string("messages/picture_mail.html", context), "text/html")
    mail.attach(image)


def body_of(row: Message) -> str:
    """The text of the e-mail in the active language, with the address to look at."""
    where = f"\n\n{settings.QCAPP_PUBLIC_URL}{row.link}" if row.link else ""
    mark = f"\n\n{said(DEMONSTRATION)}" if settings.QCAPP_DEMO else ""
    return f"{said(row.text)}{where}{mark}\n"
