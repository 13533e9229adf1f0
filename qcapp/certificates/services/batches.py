"""Certificates of many units at once. One task a unit; whatever a worker's end leaves undone is done at the next start.

A unit's outcome is a row of its own, written in the transaction that issues its certificate: a task that runs twice
finds it and does nothing, and one that was cut short left neither.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from functools import partial
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction
from django.utils import timezone
from django_tasks import task

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, QcError
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import unit_by_serial, unit_of_item
from qcapp.production.services import lock_unit

from ..models import Batch, BatchOutcome, BatchUnit, Certificate
from ..queries import CertificateCard
from .issuing import issue_certificate
from .rendering import pdf_bytes

if TYPE_CHECKING:
    from qcapp.people.models import Person

MOST = 500


@transaction.atomic
def issue_batch(*, by: Person, serials: Sequence[str], at: datetime) -> UUID:
    """Ask for the certificates of these units; each is issued or refused by itself. Gives the batch's uuid.

    Raises Invalid `batch_empty`, `batch_too_large`, NotFound `serial_unknown`, NotAllowed.
    """
    require(by, Act.ISSUE_CERTIFICATE, at)
    wanted = list(dict.fromkeys(serial.strip().upper() for serial in serials if serial.strip()))
    if not wanted:
        raise Invalid("batch_empty", "Choose at least one unit.")
    if len(wanted) > MOST:
        raise Invalid("batch_too_large", f"At most {MOST} units go into one batch; choose fewer.")
    units = [unit_by_serial(serial) for serial in wanted]
    batch = Batch.objects.create(by=by, at=at)
    for unit in units:
        row = BatchUnit.objects.create(batch=batch, item_id=unit.item_id, serial=unit.serial)
        transaction.on_commit(partial(issue_one.enqueue, row.pk))
    payload = {"units": wanted}
    audit.record(verb=Verb.CERTIFICATES_ASKED_FOR, actor=by.uuid, subject=f"batch {batch.uuid}", at=at, payload=payload)
    return batch.uuid


def resume() -> int:
    """Ask again for what a worker's end left undone; gives how many units. Harmless beside a running worker."""
    left = list(BatchUnit.objects.filter(outcome__isnull=True).order_by("pk").values_list("pk", flat=True))
    for unit_id in left:
        issue_one.enqueue(unit_id)
    return len(left)


@task()
def issue_one(unit_id: int) -> None:
    """Issue one unit's certificate and lay it out, unless that was done before."""
    card = _issue_once(unit_id)
    if card is not None:
        pdf_bytes(card, at=timezone.now())


def _issue_once(unit_id: int) -> CertificateCard | None:
    row = BatchUnit.objects.select_related("batch__by").get(pk=unit_id)
    at = timezone.now()
    try:
        with transaction.atomic():
            lock_unit(unit_of_item(row.item_id).id)  # another worker at the same unit waits here
            if BatchOutcome.objects.filter(unit=row).exists():
                return None
            card = issue_certificate(by=row.batch.by, serial=row.serial, at=at)
            BatchOutcome.objects.create(unit=row, certificate=Certificate.objects.get(pk=card.id), at=at)
            return card
    except QcError as refusal:
        BatchOutcome.objects.create(unit=row, code=refusal.code, message=refusal.message, at=at)
        return None
