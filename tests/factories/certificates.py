"""A released unit and its certificate, through the services."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from qcapp.certificates.queries import CertificateCard
from qcapp.certificates.services.issuing import issue_certificate
from qcapp.certificates.services.releasing import release
from qcapp.people.services import demonstration_proof

from ..cast import FIXED_NOW
from .inspections import Workshop

if TYPE_CHECKING:
    from qcapp.people.models import Person

RELEASED_AT = FIXED_NOW + timedelta(hours=6)
ISSUED_AT = FIXED_NOW + timedelta(hours=7)


def release_unit(workshop: Workshop, by: Person | None = None, at: datetime = RELEASED_AT) -> Workshop:
    """Released by the quality manager unless told otherwise; everything has to be proven."""
    release(proof=demonstration_proof(by or workshop.cast.quality_manager, at), serial=workshop.serial, at=at)
    return workshop


def finished(workshop: Workshop) -> Workshop:
    """Every stage answered and signed: ready for release."""
    return workshop.finish()


def certified(
    workshop: Workshop, *, at: datetime = ISSUED_AT, change_note: str = "", by: Person | None = None
) -> CertificateCard:
    """The next issue of the unit's certificate."""
    by = by or workshop.cast.quality_manager
    return issue_certificate(by=by, serial=workshop.serial, at=at, change_note=change_note)
