"""The newest anchor by e-mail, once a day: in a mailbox elsewhere it shows what was done to the chain afterwards.

A message is one line of the anchor file with words around it. It names no person and no unit.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta

from django.conf import settings
from django.core.mail import EmailMessage

from qcapp.core.errors import Refused
from qcapp.lib.notes import note, notes

from . import anchors
from .services import utc_text

EVERY = timedelta(hours=20)  # once a day, whenever in the hour the timer comes
NOTE = "anchor_mailed"
WORDS = """The audit chain of {site} had {number} entries on {at}.

Keep this message where whoever runs {address} cannot delete it. To compare it with the site later, save it as a file
there and run: manage.py verify_audit --anchors FILE

{line}
"""


def mail_newest(*, at: datetime) -> str:
    """Send the newest anchor to QCAPP_ANCHOR_MAIL and give a sentence about what was done.

    Nothing is sent without an address, twice in a day, or twice for one anchor. Raises Refused (`mail_not_set_up`),
    and what the mail server answers: OSError or SMTPException.
    """
    if not settings.QCAPP_ANCHOR_MAIL:
        return "No address is named for anchors (QCAPP_ANCHOR_MAIL); none is mailed."
    line, sent = anchors.last_line(), notes().get(NOTE, {})
    if not line or sent.get("line") == line:
        return "No new anchor to mail."
    if sent and at - datetime.fromisoformat(sent["at"]) < EVERY:
        return "An anchor was mailed today already."
    if not settings.QCAPP_SENDS_MAIL:
        raise Refused("mail_not_set_up", "no mail server is named (QCAPP_MAIL_URL).")
    _message(line).send()
    note(NOTE, at=utc_text(at), line=line)
    return f"The newest anchor is mailed to {', '.join(settings.QCAPP_ANCHOR_MAIL)}."


def mailed_at() -> datetime | None:
    """When the last one was taken by the mail server."""
    sent = notes().get(NOTE, {})
    return datetime.fromisoformat(sent["at"]) if sent else None


def _message(line: str) -> EmailMessage:
    told = json.loads(line)
    words = WORDS.format(
        site=settings.QCAPP_SITE_NAME,
        number=told["number"],
        at=told["at"],
        address=settings.QCAPP_PUBLIC_URL,
        line=line,
    )
    subject = f"Anchor of the audit chain, entry {told['number']}"
    return EmailMessage(subject, words, to=settings.QCAPP_ANCHOR_MAIL)
