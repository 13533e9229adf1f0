"""A finished frame with an order, for every test of customers."""

from __future__ import annotations

import pytest

from qcapp.certificates.services.issuing import issue_certificate
from qcapp.certificates.services.releasing import release
from qcapp.customers.services import add_customer, add_order
from qcapp.people.services import demonstration_proof
from tests.cast import FIXED_NOW, Cast
from tests.factories.inspections import Workshop

LATER = FIXED_NOW


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    """FR-200-0147, every stage answered and signed, and the order of a customer."""
    for name in ("dispatch", "customer_service", "quality_manager", "second_quality_manager", "engineer", "assembler"):
        getattr(cast, name)
    add_customer(by=cast.customer_service, number="C-104", name="Orchard Rise Growers", at=FIXED_NOW)
    add_order(by=cast.customer_service, number="S-1184", customer_number="C-104", at=FIXED_NOW)
    return Workshop.opened(cast).finish()


@pytest.fixture
def certified(workshop: Workshop) -> Workshop:
    """The frame released and certified."""
    manager = workshop.cast.quality_manager
    release(proof=demonstration_proof(manager, LATER), serial="FR-200-0147", at=LATER)
    issue_certificate(by=manager, serial="FR-200-0147", at=LATER)
    return workshop
