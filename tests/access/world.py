"""A small invented workshop with something on every page: units, goods, papers, actions, lists, tablets."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal
from typing import Any
from unittest.mock import patch

from django.utils import timezone

from qcapp.affected.services import keep_list
from qcapp.certificates.queries import certificates_of
from qcapp.certificates.services.batches import issue_batch
from qcapp.config.demonstration import cast as people
from qcapp.config.demonstration.goods import make_goods
from qcapp.config.demonstration.improving import mudguards
from qcapp.config.demonstration.metrology import play_metrology
from qcapp.config.demonstration.papers import certify_lots, choose_papers
from qcapp.config.demonstration.player import make_plans, play_units
from qcapp.config.demonstration.stories import UNITS, Story
from qcapp.config.demonstration.welding import make_papers, make_welding
from qcapp.customers.services import add_customer, add_order, dispatch
from qcapp.improvement.queries.similar import clusters
from qcapp.improvement.services import costs, field, opening
from qcapp.improvement.services.settings import set_improvement
from qcapp.inspections.services.first_articles import mark_first_article
from qcapp.people.roles import Role
from qcapp.people.services import demonstration_proof, name_deputy
from qcapp.people.services.tablets import add_tablet
from qcapp.plans.queries import released_card
from qcapp.plans.services import revise
from qcapp.production.queries import unit_by_serial
from tests.factories.people import PersonFactory

CERTIFIED, HELD, BEGUN = "FR-200-0131", "FR-200-0147", "FR-200-0149"
READY, TO_GO, NEW = "MG-5-0027", "MG-5-0028", "MG-5-0029"  # to be released, to be handed over, not there yet
EVERYTHING = "9001"  # who has every role: sees whatever a page can hold


def make_world() -> people.Cast:
    """Everybody with their records; all of it through the services, on the day of the test."""
    now = timezone.now()
    begin = now - timedelta(days=90)
    cast = people.make_people(begin)
    people.make_gauges(cast, begin, now)
    make_plans(cast, begin + timedelta(days=1))
    choose_papers(cast, begin + timedelta(days=1))
    make_welding(cast, begin + timedelta(days=1))
    make_goods(cast, begin + timedelta(days=2), now)
    play_units(_stories(), cast, now, now, lambda: None)
    play_metrology(cast, now)
    make_papers(cast, now)
    certify_lots(cast, now)
    _customers_and_lists(cast, now)
    _improvement(cast, now)
    _people_and_plans(cast, now)
    return cast


def _stories() -> tuple[Story, ...]:
    frames = tuple(one for one in UNITS if one.serial in (CERTIFIED, HELD, BEGUN))
    wavy = tuple(replace(one, days_ago=9) for one in mudguards() if one.number in (3, 6, 9))
    ready = Story("MG-5", 27, 9, stages=2, released=False, order="S-1207")
    return (*wavy, ready, Story("MG-5", 28, 9, stages=2, order="S-1208"), *frames)


def _customers_and_lists(cast: people.Cast, now: Any) -> None:
    service, quality = cast.with_role(Role.CUSTOMER_SERVICE), cast.with_role(Role.QUALITY_MANAGER)
    add_customer(by=service, number="C-101", name="Hollow Lane Orchards (invented)", contact="by telephone", at=now)
    due = (now + timedelta(days=3)).date()
    for number in ("S-1165", "S-1208"):
        add_order(by=service, number=number, customer_number="C-101", due_on=due, at=now)
    dispatcher = cast.with_role(Role.DISPATCH)
    (paper,) = certificates_of(unit_by_serial(CERTIFIED).item_id)
    dispatch(
        proof=demonstration_proof(dispatcher, now), serial=CERTIFIED, order_number="S-1165",
        certificate_number=paper.number, issue=paper.issue, at=now,
    )  # fmt: skip
    keep_list(by=quality, name="Tubes of heat Q7714", question="heat Q7714 and family FR-200", at=now)
    with patch("qcapp.certificates.services.batches.issue_one"):  # the list is looked at, not the papers
        issue_batch(by=quality, serials=[CERTIFIED, READY], at=now)


def _improvement(cast: people.Cast, now: Any) -> None:
    quality = cast.with_role(Role.QUALITY_MANAGER)
    prices = {"rate_per_hour": Decimal("64.00"), "currency": "EUR", "similar_count": 3, "units_wanted": 40}
    set_improvement(by=quality, similar_days=30, at=now, **prices)
    found = next(one for one in clusters(at=now, least=1) if one.family_code == "MG-5")
    told = {"basis": found.basis, "value": found.value, "family_code": found.family_code}
    number = opening.open_action(by=quality, title="Edge comes out wavy", problem="Three of four.", at=now, **told)
    costs.record_cost(by=quality, about=number, what="Setting trials", minutes=90, material=Decimal(12), at=now)
    reason = "A torque wrench that read too high was used on the bolts."
    action = field.open_field_action(by=quality, title="Axle plate bolts: tighten again", reason=reason, at=now)
    told = {"customer": "Hollow Lane Orchards", "address": "4 Hollow Lane, Alder Quay"}
    field.list_units(by=quality, number=action, serials=[CERTIFIED], at=now, **told)


def _people_and_plans(cast: people.Cast, now: Any) -> None:
    keeper, (quality, other) = cast.with_role(Role.KEEPER), (cast.people["1009"], cast.people["1010"])
    dates = {"starts_on": now.date(), "ends_on": (now + timedelta(days=9)).date()}
    name_deputy(by=keeper, person=quality, deputy=other, role=Role.QUALITY_MANAGER, at=now, **dates)
    add_tablet(by=keeper, name="Bench 3", place="alignment bench", at=now)
    revise(by=other, revision_uuid=released_card("FR-200").uuid, at=now, change_note="Made for this walk.")
    about = {"serial": BEGUN, "stage_number": 9, "cause": "revision", "about": "revision D"}
    mark_first_article(by=quality, at=now, **about)
    cast.people[EVERYTHING] = PersonFactory(
        badge=EVERYTHING, name="Zephyrine Allwright", initials="ZA", roles=list(Role)
    )
