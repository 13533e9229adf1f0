"""`manage.py send_notices`: tell the other system what it has not heard yet, and go on with batches cut short."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand

from qcapp.certificates.services.batches import resume
from qcapp.certificates.services.notices import send_due


class Command(BaseCommand):
    help = "Sends notices that are due, and asks again for certificates that a worker's end left undone."

    def handle(self, *args: Any, **options: Any) -> None:
        self.stdout.write(f"{send_due()} notices arrived; {resume()} certificates were asked for again.")
