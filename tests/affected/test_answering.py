"""Who is affected: and, or, not over random records against the same worked out in plain Python loops."""

from __future__ import annotations

import random

import pytest

from qcapp.affected.answering import answer
from qcapp.affected.asking import Both, Either, Term, Tree, Without, read, written
from qcapp.core.errors import NotFound
from qcapp.production.models import Installation, Unit
from qcapp.production.services import place_hold
from tests.cast import FIXED_NOW, Cast

from .records import PlainRecords, Records, make

pytestmark = pytest.mark.django_db


@pytest.fixture
def records(cast: Cast, settings) -> Records:
    made = make(cast)
    assert str(made.zone) == settings.QCAPP_SITE_ZONE
    return made


def serials(question: str | Tree) -> set[str]:
    return {row.serial for row in answer(read(question) if isinstance(question, str) else question).rows}


def some_tree(chance: random.Random, terms: list[Term], depth: int = 0) -> Tree:
    """And, or, not, up to four levels deep, over terms that name something."""
    if depth == 4 or chance.random() < 0.3:
        return chance.choice(terms)
    kind = chance.choice((Both, Either, Without))
    if kind is Without:
        return Without(some_tree(chance, terms, depth + 1))
    return kind(tuple(some_tree(chance, terms, depth + 1) for _ in range(chance.randint(2, 3))))


def test_names_the_same_units_as_plain_loops_do(records: Records) -> None:
    plain, chance = PlainRecords(), random.Random(20)
    answered = 0
    for term in records.terms:
        wanted = plain.serials(term)
        if wanted:
            answered += 1
            assert serials(term) == wanted, written(term)
    assert answered > 25
    known = [term for term in records.terms if plain.serials(term)]
    for _ in range(120):
        tree = some_tree(chance, known)
        assert serials(tree) == plain.serials(tree), written(tree)


@pytest.mark.parametrize(
    "question",
    ["heat 9X9999", "lot L-9", "component FR-9", "supplier Nobody", "filler FL-99", "gauge CA-99", "fixture TF-99",
     "welder W99", "inspector 9999", "plan DX-1/Z", "plan DX-1", "family ZZ-1", "welder 7K%", "heat 7K_412"],
)  # fmt: skip
def test_refuses_a_name_that_nobody_knows(records: Records, question: str) -> None:
    for text in (question, f"not {question}", f"family DX-1 and not ({question})"):
        with pytest.raises(NotFound) as caught:
            serials(text)
        assert caught.value.code == "nothing_of_that_name"


def test_says_where_a_unit_stands_and_why_it_is_named(records: Records, cast: Cast) -> None:
    there = Installation.objects.filter(removal__isnull=True).select_related("component__unit", "item__unit").first()
    assert there is not None
    fork, frame = there.component.unit, there.item.unit
    Unit.objects.filter(pk=frame.pk).update(state="released")
    place_hold(by=cast.quality_manager, item_id=fork.item_id, from_stage=None, source="X", reason="doubt", at=FIXED_NOW)
    found = answer(read(f"component {fork.serial}"))
    rows = {row.serial: row for row in found.rows}
    assert set(rows) == {fork.serial, frame.serial}
    assert (rows[fork.serial].holder, rows[fork.serial].standing, rows[fork.serial].on_hold) == (
        frame.serial, "in stock", True,
    )  # fmt: skip
    assert rows[frame.serial].because == (f"component {fork.serial}",)
    assert dict(found.counts) == {"in build": 0, "in stock": 2, "shipped": 0}


def test_asks_as_many_queries_for_one_unit_as_for_all(records: Records, django_assert_max_num_queries) -> None:
    with django_assert_max_num_queries(30):
        answer(read("family DX-1 and not (gauge CA-01 or heat 7K4412)"))
