"""`manage.py watch_signals`: puts new signals of charts into the quality manager's inbox, for a timer or on its own."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import close_old_connections
from django.utils import timezone

from qcapp.production.queries import families
from qcapp.trends.queries import newest_of
from qcapp.trends.services.telling import tell_signals


class Command(BaseCommand):
    help = "Look at the charts of every family with newer results, and tell the quality manager what is new."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--every", type=int, metavar="SECONDS", help="stay and look again after so many seconds")

    def handle(self, *args: Any, **options: Any) -> None:
        seen: dict[int, int] = {}
        while True:
            told = look(seen)
            if told or not options["every"]:
                self.stdout.write(f"{told} signal{'' if told == 1 else 's'} told.")
            if not options["every"]:
                return
            close_old_connections()
            time.sleep(max(5, options["every"]))


def look(seen: dict[int, int]) -> int:
    """Tell the new signals of every family whose newest result is another than in `seen`; gives how many."""
    told = 0
    for family in families():
        newest = newest_of(family.id)
        if newest and seen.get(family.id) != newest:
            told += tell_signals(family, at=timezone.now())
            seen[family.id] = newest
    return told
