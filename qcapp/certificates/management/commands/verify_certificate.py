"""`manage.py verify_certificate FILE.pdf`: real, altered or not ours, with the database or with a fingerprint alone."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from qcapp.certificates.services.checking import Answer, check_file_alone, check_pdf

STATUS = {
    Answer.CURRENT: 0,
    Answer.REAL: 0,
    Answer.REPLACED: 10,
    Answer.WITHDRAWN: 11,
    Answer.UNDER_REVIEW: 12,
    Answer.ALTERED: 20,
    Answer.NOT_OURS: 21,
}


class Command(BaseCommand):
    help = (
        "Says whether a PDF is a certificate of this maker, unchanged, and whether it still stands. With --fingerprint "
        "no database is asked. Exit status: 0 real (and current), 10 replaced, 11 withdrawn, 12 under review, "
        "20 altered, 21 not ours, 1 could not be checked."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE.pdf")
        parser.add_argument("--fingerprint", help="the SHA-256 that the maker published; the database is left alone")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            pdf = options["file"].read_bytes()
        except OSError as error:
            raise CommandError(f"{options['file']} cannot be read: {error.strerror}.") from None
        fingerprint = options["fingerprint"]
        found = check_file_alone(pdf, fingerprint) if fingerprint else check_pdf(pdf)
        self.stdout.write(f"{found.answer.capitalize()}. {found.why}")
        if found.card is not None:
            self.stdout.write(f"{found.card.number} issue {found.card.issue}, {found.card.serial}.")
        if found.seal.signed_at is not None:
            self.stdout.write(f"Signed {found.seal.signed_at:%Y-%m-%d %H:%M %Z} by {found.fingerprint}")
        if STATUS[found.answer]:
            sys.exit(STATUS[found.answer])
