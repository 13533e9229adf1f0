"""`manage.py backup_key FILE`: the pair of keys for encrypted backups."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from qcapp.config.backup import sealing
from qcapp.core.errors import QcError


class Command(BaseCommand):
    help = "Write a new private key for backups into FILE and print the public one."
    requires_system_checks: list[str] = []  # best run on another machine than the server

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            public = sealing.new_key(options["file"])
        except QcError as error:
            raise CommandError(error.message) from error
        self.stdout.write(public)
        self.stderr.write(
            f"The private key is in {options['file']}. Keep it away from the server, twice: without it no encrypted "
            "backup can be read."
        )
