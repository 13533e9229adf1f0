"""`manage.py certificate SERIAL --output FILE.pdf`: the current issue of a unit's certificate, as its kept file."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.certificates.queries import CertificateCard, certificates_of
from qcapp.certificates.services.issuing import issue_certificate
from qcapp.certificates.services.rendering import pdf_bytes
from qcapp.core.errors import QcError
from qcapp.people.queries import person_by_badge
from qcapp.production.queries import unit_by_serial


class Command(BaseCommand):
    help = (
        "Writes the current issue of a unit's certificate. It issues one only with --by, and only when there is none."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("serial", help="serial number of the unit, such as FR-200-0147")
        parser.add_argument("--output", type=Path, required=True, metavar="FILE.pdf", help="the file to write")
        parser.add_argument("--by", metavar="BADGE", help="who issues the certificate when there is none yet")

    def handle(self, *args: Any, **options: Any) -> None:
        output: Path = options["output"]
        try:
            card = self._current(options["serial"], options["by"])
            output.write_bytes(pdf_bytes(card, at=timezone.now()))
        except QcError as refusal:
            raise CommandError(f"{refusal.message} ({refusal.code})") from None
        except OSError as error:
            raise CommandError(f"{output} cannot be written: {error.strerror}.") from None
        self.stdout.write(f"{card.number} issue {card.issue} of {card.serial} is in {output}.")

    def _current(self, serial: str, badge: str | None) -> CertificateCard:
        unit = unit_by_serial(serial)
        issued = certificates_of(unit.item_id)
        if issued:
            self._refuse_withdrawn(issued[0])
            return issued[0]
        if badge is None:
            message = f"No certificate of {unit.serial} is issued yet. Name who issues it: --by BADGE."
            raise CommandError(message)
        return issue_certificate(by=person_by_badge(badge), serial=unit.serial, at=timezone.now())

    def _refuse_withdrawn(self, card: CertificateCard) -> None:
        if card.standing == "withdrawn":
            raise CommandError(f"{card.number} issue {card.issue} was withdrawn: {card.withdrawn_reason}")
        if card.standing != "current":
            self.stderr.write(f"Note: {card.number} issue {card.issue} is {card.standing}.")
