"""Grade verification at issue: asked by grade, size or family, and without its check nothing is cut or built in."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.audit.queries import entries_about
from qcapp.goods.queries import events_of_heat
from qcapp.goods.queries.verifying import demands, size_key
from qcapp.goods.services import record_cut, verify_grade
from qcapp.goods.services.lots import open_lot
from qcapp.goods.services.verifying import ask_verification, end_verification, issue_material
from qcapp.production.queries.as_built import heat_by_number, used_in
from qcapp.production.states import LotState
from tests.cast import FIXED_NOW, Cast
from tests.factories.production import FamilyFactory, UnitFactory
from tests.unchanged import refused

from .conftest import decide, enter, heat

pytestmark = pytest.mark.django_db
WHY = "A bar of mild tube was found among low-alloy ones."


def ask(cast: Cast, **what: Any) -> Any:
    return ask_verification(by=cast.welding_coordinator, reason=WHY, at=FIXED_NOW, **what or {"grade": "4130"})


def cut(cast: Cast, **changes: Any) -> None:
    told = {"heat_number": "H4711", "stock": "bar 3", "pieces": 10, "pieces_marked": True, "remnant": ""}
    record_cut(by=cast.goods_in, remnant_marked=False, at=FIXED_NOW, **told | changes)


def verify(cast: Cast, found: str = "4130") -> bool:
    return verify_grade(by=cast.goods_in, heat_number="H4711", method="alloy analyser", grade_found=found, at=FIXED_NOW)


@pytest.fixture
def frame(kit: str) -> Any:
    FamilyFactory(code="FR-200", serial_pattern="FR-200-{number:4}")
    return UnitFactory(number=147)


@pytest.fixture
def lot(cast: Cast, kit: str) -> Any:
    """A lot of H4711, as if its sample had been accepted."""
    from qcapp.production.models import Lot

    made = open_lot(by=cast.goods_in, family_code=kit, quantity=20, heat_numbers=["H4711"], at=FIXED_NOW)
    Lot.objects.filter(pk=made.id).update(state=LotState.ACCEPTED)
    return made


def use(cast: Cast, **what: Any) -> Any:
    return issue_material(by=cast.assembler, serial="FR-200-0147", at=FIXED_NOW, **what)


def test_refuses_to_cut_without_a_check_and_lets_one_cut_go_for_each(cast: Cast, kit: str) -> None:
    cut(cast)  # nothing is asked yet
    ask(cast)
    with refused("grade_not_verified", "goods", "production") as caught:
        cut(cast)
    assert caught.value.message.startswith("The grade of heat H4711 is verified before it is issued: asked for 4130 by")
    assert verify(cast)
    cut(cast)
    with refused("grade_not_verified", "goods", "production"):
        cut(cast)
    said = [one.text for one in events_of_heat(heat_by_number("H4711").id)]
    assert "Grade verified by alloy analyser: 4130, as entered. Issued." in said


def test_holds_a_heat_of_another_grade_and_counts_no_check_from_before(cast: Cast, kit: str) -> None:
    ask(cast)
    verify(cast)
    assert not verify(cast, "1020")
    with refused("heat_not_accepted", "goods", "production"):
        cut(cast)
    decide(cast.quality_manager, reason="Sorted bar by bar; the mild one is scrapped.")
    with refused("grade_not_verified", "goods", "production"):
        cut(cast)


def test_refuses_to_build_in_a_heat_that_is_not_verified_each_time(cast: Cast, frame: Any) -> None:
    ask(cast)
    with refused("grade_not_verified", "goods", "production"):
        use(cast, heat_number="H4711")
    verify(cast)
    use(cast, heat_number="H4711", use="brace")
    with refused("grade_not_verified", "goods", "production"):
        use(cast, heat_number="H4711")
    assert [one.use for one in used_in([frame.item_id])] == ["brace"]
    assert events_of_heat(heat_by_number("H4711").id)[0].text.endswith("Issued for FR-200-0147.")


def test_builds_in_a_lot_whose_heat_was_verified_for_it(cast: Cast, frame: Any, lot: Any) -> None:
    ask(cast)
    verify(cast)
    cut(cast, lot_code=lot.code)
    for _ in range(2):
        use(cast, lot_code=lot.code, quantity=1)


def test_refuses_a_lot_cut_before_it_was_asked_until_its_heat_is_verified(cast: Cast, frame: Any, lot: Any) -> None:
    cut(cast, lot_code=lot.code)
    ask(cast)
    with refused("grade_not_verified", "goods", "production"):
        use(cast, lot_code=lot.code, quantity=1)
    verify(cast)
    for _ in range(2):
        use(cast, lot_code=lot.code, quantity=1)


@pytest.mark.parametrize(
    ("what", "asked"),
    [
        ({"grade": "4130"}, True),
        ({"grade": "1020"}, False),
        ({"size": "38,1 x 2.11"}, True),
        ({"grade": "4130", "size": "38.1 × 2.11 mm"}, True),
        ({"grade": "4130", "size": "25.4 × 1.65 mm"}, False),
        ({"family_code": "TK-200"}, True),
        ({"family_code": "FR-200"}, False),
    ],
)
def test_asks_by_grade_size_and_family(cast: Cast, frame: Any, lot: Any, what: Any, asked: bool) -> None:
    ask(cast, **what)
    if asked:
        with refused("grade_not_verified", "goods", "production"):
            cut(cast, lot_code=lot.code)
    else:
        cut(cast, lot_code=lot.code)


def test_asks_for_what_goes_into_a_family_when_it_goes_in(cast: Cast, frame: Any, lot: Any) -> None:
    ask(cast, family_code="FR-200")
    cut(cast)  # it is not known yet for what
    for what in ({"heat_number": "H4711"}, {"lot_code": lot.code, "quantity": 1}):
        with refused("grade_not_verified", "goods", "production"):
            use(cast, **what)


def test_counts_any_size_that_a_certificate_of_the_heat_names(cast: Cast, kit: str) -> None:
    enter(cast, heat(size="25.4 × 1.65 mm"), number="MC-1002")
    ask(cast, size="25.4x1,65")
    with refused("grade_not_verified", "goods"):
        cut(cast)


def test_ends_what_was_asked_and_keeps_both_in_the_record(cast: Cast, kit: str) -> None:
    card = ask(cast)
    end_verification(by=cast.engineer, uuid=card.uuid, reason="Only one grade is bought now.", at=FIXED_NOW)
    cut(cast)
    assert demands() == []
    assert [one.verb for one in entries_about("goods")] == ["verification.ended", "verification.asked"]
    assert ask(cast).what == "4130"  # and asked again


def test_refuses_what_cannot_be_asked(cast: Cast, kit: str) -> None:
    told = {"reason": WHY, "at": FIXED_NOW}
    card = ask(cast, grade="4130", size="38.1 × 2.11")
    with refused("demand_exists", "goods"):
        ask(cast, grade="4130", size="38.1x2,11 mm")
    with refused("demand_empty", "goods"):
        ask_verification(by=cast.engineer, **told)
    with refused("family_unknown", "goods"):
        ask(cast, family_code="XX-1")
    with refused("not_permitted", "goods"):
        ask_verification(by=cast.goods_in, grade="4130", **told)
    with refused("not_permitted", "goods"):
        end_verification(by=cast.goods_in, uuid=card.uuid, **told)
    end_verification(by=cast.engineer, uuid=card.uuid, **told)
    with refused("demand_unknown", "goods"):
        end_verification(by=cast.engineer, uuid=card.uuid, **told)


def test_tells_sizes_apart_by_their_numbers_alone() -> None:
    assert len({size_key(one) for one in ("38.1 × 2.11 mm", "38,1x2,11", "38.1 X 2.11 MM", "38.1*2.11mm")}) == 1
    assert size_key("38.1 × 2.1") != size_key("38.1 × 2.11")


def test_is_asked_and_ended_on_its_page_and_shown_where_goods_are_issued(cast: Cast, lot: Any, client_of: Any) -> None:
    client, address = client_of(cast.welding_coordinator), "/goods/verification/"
    assert "tube goes out by its heat mark alone" in client.get(address).content.decode()
    told = {"act": "ask", "grade": "4130", "size": "", "family_code": "", "reason": WHY}
    assert client.post(address, told).status_code == 302
    assert client.post(address, told).status_code == 409
    keeper = client_of(cast.goods_in)
    assert keeper.post(address, told).status_code == 403
    page = keeper.get("/goods/heats/H4711/").content.decode()
    assert "until then nothing of it is cut or built in" in page
    assert "is verified before anything of this lot is used" in keeper.get(f"/goods/lots/{lot.code}/").content.decode()
    assert "Verified at issue:" in keeper.get("/goods/").content.decode()
    sent = {"act": "cut", "stock": "bar 3", "pieces": "4", "pieces_marked": "on", "remnant": "", "lot_code": lot.code}
    answer = keeper.post("/goods/heats/H4711/", sent)
    assert answer.status_code == 409
    assert "one check lets one issue go" in answer.content.decode()
    check = {"act": "grade", "method": "spark", "grade_found": "4130"}
    assert keeper.post("/goods/heats/H4711/", check).status_code == 302
    assert "Verified by spark; the next issue may go." in keeper.get("/goods/heats/H4711/").content.decode()
    assert keeper.post("/goods/heats/H4711/", sent).status_code == 302
    client = client_of(cast.welding_coordinator)
    assert client.post(address, {"act": "end", "uuid": str(demands()[0].uuid), "reason": "x"}).status_code == 302
    assert demands() == []


def test_is_asked_and_refused_through_the_api(cast: Cast, frame: Any, client_of: Any) -> None:
    def post(person: Any, path: str, **body: Any) -> Any:
        return client_of(person).post(f"/api/v1/{path}", body, content_type="application/json")

    told = post(cast.engineer, "grade-demands", grade="4130", reason=WHY)
    assert (told.status_code, told.json()["grade"]) == (201, "4130")
    address = "units/FR-200-0147/materials"
    cuts = {"heat": "H4711", "stock": "bar", "pieces": 4, "pieces_marked": True}
    refusals = [
        post(cast.goods_in, "cuts", **cuts),
        post(cast.assembler, address, heat_number="H4711"),
    ]
    assert [(one.status_code, one.json()["code"]) for one in refusals] == [(409, "grade_not_verified")] * 2
    post(cast.goods_in, "grade-checks", heat="H4711", method="spark", grade_found="4130")
    assert post(cast.assembler, address, heat_number="H4711").status_code == 201
    ended = post(cast.engineer, f"grade-demands/{told.json()['uuid']}/end", reason="one grade only")
    assert (ended.status_code, ended.json()) == (200, {"demands": []})
