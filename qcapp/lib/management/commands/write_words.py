"""`manage.py write_words`: brings the office's catalogues up to the templates; --check names what is not said yet."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from qcapp.lib.spoken import OFFICE
from qcapp.lib.word_files import as_po, faults, rooms, said_so_far
from qcapp.lib.worded_templates import catalogues


class Command(BaseCommand):
    help = "Write qcapp/locale/<code>/office/*.po from the templates; what is said already stays."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="write nothing; fail when a piece is not said yet")

    def handle(self, *args: Any, **options: Any) -> None:
        for code in OFFICE:
            self.ask(code) if options["check"] else self.bring_up(code)

    def bring_up(self, code: str) -> None:
        said, folder = said_so_far(code), catalogues(code)
        folder.mkdir(parents=True, exist_ok=True)
        current = rooms()
        for room, entries in current.items():
            (folder / f"{room}.po").write_text(as_po(code, room, entries, said), encoding="utf-8")
            missing = sum(("", entry.english) not in said for entry in entries)
            self.stdout.write(f"{code} {room}: {len(entries)} pieces, {missing} to be said")
        for file in folder.iterdir():
            if file.stem not in current:
                file.unlink()

    def ask(self, code: str) -> None:
        said = said_so_far(code)
        wrong = [f"{english!r}: {fault}" for (_, english), other in said.items() for fault in faults(english, other)]
        for line in wrong:
            self.stdout.write(line)
        missing = 0
        for room, entries in rooms().items():
            open_here = sum(("", entry.english) not in said for entry in entries)
            missing += open_here
            self.stdout.write(f"{code} {room}: {open_here} of {len(entries)} to be said")
        if missing or wrong:
            raise CommandError(f"{code}: {missing} pieces are to be said, {len(wrong)} are said wrongly")
