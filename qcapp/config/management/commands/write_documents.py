"""`manage.py write_documents`: the documents that are drawn from the code; --check says whether they are current."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from qcapp.config.documents import DRAWN


class Command(BaseCommand):
    help = "Write docs/data-model.md and docs/numbers.md from the models and the core."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="write nothing; fail when a file is not current")

    def handle(self, *args: Any, **options: Any) -> None:
        for name, draw in DRAWN.items():
            file = Path(settings.BASE_DIR) / "docs" / name
            if not options["check"]:
                file.write_text(draw(), encoding="utf-8")
                self.stdout.write(f"Written: {file}")
            elif not file.is_file() or file.read_text(encoding="utf-8") != draw():
                raise CommandError(f"docs/{name} is not current. Run `manage.py write_documents`.")
