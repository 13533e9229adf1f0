"""`manage.py write_rights`: writes docs/rights.md; with `--check` only says whether it is current."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from qcapp.people.rights_table import as_markdown


class Command(BaseCommand):
    help = "Write docs/rights.md from the table of rights and the addresses."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="write nothing; fail when the file is not current")

    def handle(self, *args: Any, **options: Any) -> None:
        file = Path(settings.BASE_DIR) / "docs" / "rights.md"
        text = as_markdown()
        if options["check"]:
            if not file.is_file() or file.read_text(encoding="utf-8") != text:
                raise CommandError("docs/rights.md is not current. Run `manage.py write_rights`.")
            return
        file.parent.mkdir(exist_ok=True)
        file.write_text(text, encoding="utf-8")
        self.stdout.write(f"Written: {file}")
