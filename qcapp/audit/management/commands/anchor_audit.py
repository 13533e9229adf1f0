"""`manage.py anchor_audit`: writes the chain's head into the anchor file, for a timer or before a backup."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from qcapp.audit import anchors
from qcapp.audit.queries import head
from qcapp.audit.services import anchor


class Command(BaseCommand):
    help = "Write how far the audit chain goes into the anchor file outside the database."

    def handle(self, *args: Any, **options: Any) -> None:
        if anchor(at=timezone.now()):
            self.stdout.write(f"Entry {head().number} is anchored in {anchors.anchor_file()}.")
        else:
            self.stdout.write("Nothing new to anchor.")
