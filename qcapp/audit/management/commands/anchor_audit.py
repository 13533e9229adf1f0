"""`manage.py anchor_audit`: writes the chain's head into the anchor file, for a timer or before a backup.

`--mail` sends the newest anchor out of the house.
"""

from __future__ import annotations

from argparse import ArgumentParser
from smtplib import SMTPException
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.audit import anchor_mail, anchors
from qcapp.audit.queries import head
from qcapp.audit.services import anchor
from qcapp.core.errors import Refused


class Command(BaseCommand):
    help = "Write how far the audit chain goes into the anchor file outside the database."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--mail", action="store_true", help="send the newest anchor to QCAPP_ANCHOR_MAIL, once a day"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        if anchor(at=timezone.now()):
            self.stdout.write(f"Entry {head().number} is anchored in {anchors.anchor_file()}.")
        else:
            self.stdout.write("Nothing new to anchor.")
        if options["mail"]:
            self._mail()

    def _mail(self) -> None:
        try:
            self.stdout.write(anchor_mail.mail_newest(at=timezone.now()))
        except (Refused, OSError, SMTPException) as error:
            raise CommandError(f"The anchor was not mailed: {error}", returncode=1) from error
