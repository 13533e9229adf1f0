"""`manage.py write_documents`: the documents that are drawn from the code; --check says whether they are current."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from qcapp.config.documents import DRAWN
from qcapp.config.documents.measured import add


class Command(BaseCommand):
    help = "Write what is drawn in docs/: the data model, the numbers, what was measured and its growth curves."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="write nothing; fail when a file is not current")
        parser.add_argument("--measured", metavar="FILE", help="first keep this run of `benchmark --json`")
        parser.add_argument("--machine", default="", metavar="WORDS", help="what it was measured on")
        parser.add_argument("--note", default="", metavar="WORDS", help="what else is to know about the run")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["measured"]:
            self._keep(Path(options["measured"]), options)
        for name, draw in DRAWN.items():
            file = Path(settings.BASE_DIR) / "docs" / name
            if not options["check"]:
                file.write_text(draw(), encoding="utf-8")
                self.stdout.write(f"Written: {file}")
            elif not file.is_file() or file.read_text(encoding="utf-8") != draw():
                raise CommandError(f"docs/{name} is not current. Run `manage.py write_documents`.")

    def _keep(self, file: Path, options: dict[str, Any]) -> None:
        if not options["machine"]:
            raise CommandError("Say what it was measured on: --machine 'two cores, 8 GB'.")
        try:
            kept = add(file, machine=options["machine"], note=options["note"])
        except (OSError, ValueError) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"Kept: {kept} numbers of {file}")
