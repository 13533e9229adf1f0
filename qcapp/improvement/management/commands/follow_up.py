"""`manage.py follow_up`: proposes corrective actions by the threshold and reminds of what is due, for a timer."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.utils import timezone

from qcapp.improvement.services.reminding import follow_up


class Command(BaseCommand):
    help = "Propose corrective actions where the threshold is reached, and remind of steps and reports that wait."

    def handle(self, *args: Any, **options: Any) -> None:
        done = follow_up(at=timezone.now())
        named = f" ({', '.join(done.proposed)})" if done.proposed else ""
        self.stdout.write(f"{len(done.proposed)} proposed{named}, {done.steps} steps and {done.queues} queues waiting.")
