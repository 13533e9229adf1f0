"""First articles: the following units wait at the stage until one is accepted, signed."""

from __future__ import annotations

from typing import Any
from uuid import UUID, uuid4

import pytest

from qcapp.core.errors import Refused
from qcapp.inspections.queries.first_articles import first_articles, waits_for
from qcapp.inspections.services.first_articles import decide_first_article, mark_first_article
from qcapp.people.services import demonstration_proof
from qcapp.production.queries import unit_by_serial

from ..factories.inspections import Workshop
from ..unchanged import refused

pytestmark = pytest.mark.django_db


def mark(workshop: Workshop, stage: int = 1, **changes: Any) -> UUID:
    options = {"cause": "fixture", "about": "fixture TF-03", "by": workshop.cast.engineer} | changes
    return mark_first_article(serial=workshop.serial, stage_number=stage, at=workshop.at, **options)


def decide(workshop: Workshop, article: UUID, accepted: bool = True) -> None:
    proof = demonstration_proof(workshop.cast.engineer, workshop.at)
    decide_first_article(proof=proof, article=article, accepted=accepted, reason="Looked at.", at=workshop.at)


def test_lets_the_following_units_wait_at_the_stage_until_it_is_accepted(workshop: Workshop) -> None:
    article = mark(workshop)
    following = workshop.another_unit("FR-200-0148")
    following.answer_stage(1)
    with pytest.raises(Refused) as refusal:
        following.sign(1)
    assert refusal.value.code == "first_article_open"
    workshop.answer_stage(1)
    workshop.sign(1)  # the first article itself does not wait
    decide(workshop, article)
    following.sign(1)
    assert [one.state for one in first_articles(unit_by_serial(workshop.serial).family_id)] == ["accepted"]


def test_goes_on_waiting_when_it_is_not_accepted_until_another_one_is(workshop: Workshop) -> None:
    following = workshop.another_unit("FR-200-0148")
    decide(workshop, mark(workshop), accepted=False)
    assert len(waits_for(unit_by_serial("FR-200-0148"), 1)) == 1
    second = mark(following)
    assert waits_for(unit_by_serial("FR-200-0148"), 1) == []
    following.answer_stage(1)
    following.sign(1)
    third = workshop.another_unit("FR-200-0149")
    assert len(waits_for(unit_by_serial(third.serial), 1)) == 1
    decide(following, second)
    assert waits_for(unit_by_serial(third.serial), 1) == []


def test_leaves_earlier_units_and_earlier_stages_alone(workshop: Workshop) -> None:
    workshop.another_unit("FR-200-0150")
    later = workshop.another_unit("FR-200-0149")
    mark(later, 2)
    assert waits_for(unit_by_serial(workshop.serial), 2) == []
    assert waits_for(unit_by_serial("FR-200-0150"), 1) == []
    assert len(waits_for(unit_by_serial("FR-200-0150"), 3)) == 1


def test_refuses_to_accept_what_is_not_inspected(workshop: Workshop) -> None:
    article = mark(workshop)
    with refused("stage_unsigned", "inspections", "people.Signature"):
        decide(workshop, article)


def test_refuses_to_decide_twice_and_about_nothing(workshop: Workshop) -> None:
    article = mark(workshop)
    decide(workshop, article, accepted=False)
    with refused("already_decided", "inspections", "people.Signature"):
        decide(workshop, article, accepted=False)
    with refused("article_unknown", "inspections", "people.Signature"):
        decide(workshop, uuid4())


@pytest.mark.parametrize(
    ("changes", "code"),
    [({"stage": 9}, "stage_unknown"), ({"cause": "mood"}, "cause_unknown"), ({"about": ""}, "text_missing")],
)
def test_refuses_a_mark_that_cannot_be_meant(workshop: Workshop, changes: dict[str, Any], code: str) -> None:
    with refused(code, "inspections"):
        mark(workshop, **changes)


def test_refuses_a_mark_twice_and_by_others(workshop: Workshop) -> None:
    mark(workshop)
    with refused("marked_already", "inspections"):
        mark(workshop)
    with refused("not_permitted", "inspections"):
        mark(workshop, 2, by=workshop.cast.inspector)
