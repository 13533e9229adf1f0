"""The sample of a lot as a grid for the tablet: what is open, what counts for which class, what stays hidden."""

from __future__ import annotations

import pytest

from qcapp.goods.queries.lots import open_samples, sample_of
from qcapp.goods.services.lots import judge_lot, sample_lot
from qcapp.inspections.models import Result
from tests.cast import FIXED_NOW
from tests.goods.test_lots import answer, opened


@pytest.fixture
def sampled(cast, kit):
    lot = opened(cast)
    sample_lot(by=cast.goods_in, lot_code=lot.code, at=FIXED_NOW)
    return lot


def asked(client_of, person, code):
    answer = client_of(person).get(f"/api/v1/lots/{code}/grid")
    return answer.status_code, answer.json()


def test_lays_the_drawn_pieces_beside_their_checkpoints(cast, client_of, sampled):
    status, grid = asked(client_of, cast.inspector, sampled.code)
    assert status == 200
    assert [one["key"] for one in grid["checkpoints"]] == ["length", "burr"]
    assert [piece["number"] for piece in grid["pieces"]] == sample_of(sampled.id).pieces
    assert grid["pieces"][0]["serial"] == f"{sampled.code}.{grid['pieces'][0]['number']:03}"
    cells = [cell for piece in grid["pieces"] for cell in piece["cells"].values()]
    assert all(cell["due"] and not cell["done"] and cell["outcome"] is None for cell in cells)
    # MIL-STD-105E, letter F: 13 pieces, accept 0, refuse 1 at AQL 1.0; 20 pieces, accept 1, refuse 2 at AQL 2.5
    numbers = {one["name"]: (len(one["pieces"]), one["accept"], one["reject"]) for one in grid["classes"]}
    assert numbers == {"major": (13, 0, 1), "minor": (20, 1, 2)}


def test_shows_what_is_answered_by_value_and_verdict(cast, client_of, sampled):
    answer(cast, sampled, bad={2}, burred={5})
    _, grid = asked(client_of, cast.inspector, sampled.code)
    third, sixth = grid["pieces"][2]["cells"], grid["pieces"][5]["cells"]
    assert (third["length"]["outcome"], third["length"]["value"]) == ("out_of_band", "413.4")
    assert third["length"]["nearest_limit"] == "upper"
    assert (sixth["burr"]["outcome"], sixth["burr"]["value"]) == ("does_not_conform", None)
    assert Result.objects.filter(operation=third["length"]["operation"]).exists()
    assert all(cell["done"] for piece in grid["pieces"] for cell in piece["cells"].values())


def test_costs_as_many_queries_for_twenty_pieces_as_for_one(cast, client_of, sampled, django_assert_max_num_queries):
    answer(cast, sampled)
    client = client_of(cast.inspector)
    with django_assert_max_num_queries(20):
        client.get(f"/api/v1/lots/{sampled.code}/grid")


def test_is_listed_on_the_floor_until_the_lot_is_judged(cast, client_of, sampled):
    assert [one.code for one in open_samples(5)] == [sampled.code]
    assert f"/floor/lots/{sampled.code}/" in client_of(cast.inspector).get("/floor/").content.decode()
    assert sampled.code in client_of(cast.inspector).get(f"/floor/lots/{sampled.code}/").content.decode()
    answer(cast, sampled)
    judge_lot(by=cast.goods_in, lot_code=sampled.code, at=FIXED_NOW)
    assert open_samples(5) == []
    assert asked(client_of, cast.inspector, sampled.code)[1]["lot"]["sentence"].startswith("Lot ")


def test_says_to_an_inspector_who_judges_the_lot_and_offers_goods_in_the_act(cast, client_of, sampled):
    seen = {
        who: client_of(who).get(f"/goods/lots/{sampled.code}/").content.decode()
        for who in (cast.inspector, cast.goods_in)
    }
    words, act = "Goods-in or the quality manager judges the lot", "Judge the lot"
    assert (words in seen[cast.inspector], act in seen[cast.inspector]) == (True, False)
    assert (words in seen[cast.goods_in], act in seen[cast.goods_in]) == (False, True)


def test_says_what_is_missing_where_nothing_was_drawn(cast, client_of, kit):
    lot = opened(cast)
    status, said = asked(client_of, cast.inspector, lot.code)
    assert (status, said["code"]) == (404, "lot_not_sampled")
    assert asked(client_of, cast.inspector, "TK-200-L9999")[0] == 404
