"""`manage.py write_words`: brings the office's catalogues up to the templates; --check names what is not said yet."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from qcapp.lib.spoken import OTHERS
from qcapp.lib.word_files import (
    Entry,
    Key,
    as_po,
    catalogues,
    faults,
    folder_of_the_code,
    misplaced,
    of_the_code,
    rooms,
    said_by_the_code,
    said_so_far,
)


class Command(BaseCommand):
    help = "Write qcapp/locale/<code>/office/*.po from the templates; what is said already stays."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="write nothing; fail when a piece is not said yet")

    def handle(self, *args: Any, **options: Any) -> None:
        for code in OTHERS:
            self.ask(code) if options["check"] else self.bring_up(code)

    def bring_up(self, code: str) -> None:
        said, folder, current = said_so_far(code), catalogues(code), rooms(code)
        folder.mkdir(parents=True, exist_ok=True)
        for room, entries in current.items():
            self.write(code, folder / f"{room}.po", entries, said)
        for file in folder.iterdir():
            if file.stem not in current:
                file.unlink()
        said = said_by_the_code(code)
        for domain, entries in of_the_code(code).items():
            self.write(code, folder_of_the_code(code) / f"{domain}.po", entries, said)

    def write(self, code: str, file: Path, entries: list[Entry], said: dict[Key, str]) -> None:
        file.write_text(as_po(code, file.stem, entries, said), encoding="utf-8")
        missing = sum(("", entry.english) not in said for entry in entries)
        self.stdout.write(f"{code} {file.stem}: {len(entries)} texts, {missing} to be said")

    def ask(self, code: str) -> None:
        """Lists what is wrong and counts what is missing. Raises CommandError where there is any of it."""
        of_pages, of_code = said_so_far(code), said_by_the_code(code)
        wrong = [f"{english!r}: {fault}" for (_, english), text in of_pages.items() for fault in faults(english, text)]
        wrong += [
            f"{english!r}: not the same places" for (_, english), text in of_code.items() if misplaced(english, text)
        ]
        for line in wrong:
            self.stdout.write(line)
        missing = 0
        for room, entries in (rooms(code) | of_the_code(code)).items():
            open_here = sum(("", entry.english) not in (of_pages | of_code) for entry in entries)
            missing += open_here
            self.stdout.write(f"{code} {room}: {open_here} of {len(entries)} to be said")
        if missing or wrong:
            raise CommandError(f"{code}: {missing} texts are to be said, {len(wrong)} are said wrongly")
