"""`manage.py deliver_messages`: sends the e-mails that are due, for a timer."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand
from django.utils import timezone

from qcapp.messages.queries import mail_counts
from qcapp.messages.services.delivering import deliver_due


class Command(BaseCommand):
    help = "Send the e-mails that wait in the outbox; those that the server does not take are tried again later."

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.QCAPP_SENDS_MAIL:
            waiting = sum(mail_counts().values())
            self.stdout.write(f"No mail server is named (QCAPP_MAIL_URL): {waiting} e-mails wait.")
            return
        done = deliver_due(at=timezone.now())
        self.stdout.write(f"{done.sent} sent, {done.failed} to be tried again, {done.dropped} to people who left.")
