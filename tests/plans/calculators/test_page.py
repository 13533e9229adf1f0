"""The page "Limits": every part, while typing and without a script."""

from __future__ import annotations

import re
from collections.abc import Callable
from html import unescape

import pytest
from django.test import Client

from qcapp.people.models import Person
from qcapp.plans.calculators.parts import PARTS
from tests.cast import Cast

TYPING = {"HX-Request": "true", "HX-Target": "answer"}
Ask = Callable[..., str]


@pytest.fixture
def client(cast: Cast, client_of: Callable[[Person], Client]) -> Client:
    return client_of(cast.engineer)


@pytest.fixture
def ask(client: Client) -> Ask:
    """`ask("welds", level="B")`: the page; `ask("welds", typing=True)`: the answer that a script asks for."""

    def get(part: str, *, typing: bool = False, **typed: str) -> str:
        answer = client.get("/limits/", {"part": part, **typed}, headers=TYPING if typing else {})
        assert answer.status_code == 200
        return unescape(answer.content.decode())

    return get


def headline(page: str) -> str:
    found = re.search(r'class="headline">([^<]*)<', page)
    assert found is not None
    return found[1].strip()


@pytest.mark.parametrize("part", PARTS)
def test_opens_every_part_with_an_example(ask: Ask, part: str) -> None:
    page = ask(part)
    assert headline(page)
    assert f"<title>{PARTS[part].title} · Limits · qcapp</title>" in page
    assert re.search(rf'\?part={part}" aria-current="page"', page)
    assert 'name="part" value="' + part in page
    assert "<style" not in page
    assert " style=" not in page
    assert not re.search(r"<script(?![^>]*\ssrc=)", page)


def test_begins_with_the_limits_of_a_size(client: Client) -> None:
    page = client.get("/limits/").content.decode()
    assert headline(page) == "30.000 to 30.021 mm"
    assert "ISO 286-1:2010, Table 1" in page


def test_stands_in_the_menu(ask: Ask) -> None:
    assert '<a href="/limits/" aria-current="page">Limits</a>' in ask("size")


def test_asks_whoever_may_look_at_a_plan_to_sign_in_first() -> None:
    assert Client().get("/limits/").headers["Location"].startswith("/sign-in/")


def test_refuses_people_without_a_role(cast: Cast, client_of: Callable[[Person], Client]) -> None:
    assert client_of(cast.stranger_to_all_roles).get("/limits/").status_code == 403


def test_refuses_a_part_that_there_is_not(client: Client) -> None:
    answer = client.get("/limits/", {"part": "roots"})
    assert answer.status_code == 404
    assert "There is no part" in answer.content.decode()


def test_takes_no_sent_forms(client: Client) -> None:
    assert client.post("/limits/", {"part": "size"}).status_code == 405


def test_sends_the_answer_alone_while_typing(ask: Ask) -> None:
    answer = ask("size", typing=True, size="48,5", notation="H7")
    assert headline(answer) == "48.500 to 48.525 mm"
    assert "<html" not in answer
    assert '<p id="spoken" hx-swap-oob="innerHTML">48.500 to 48.525 mm</p>' in answer


def test_says_while_typing_what_cannot_be_read(ask: Ask) -> None:
    answer = ask("size", typing=True, size="30.", notation="H7")
    assert "ends with its decimal mark" in answer
    assert '<a href="#size_size">Size</a>' in answer
    assert 'class="headline"' not in answer


@pytest.mark.parametrize(
    ("typed", "limits", "source"),
    [
        ({"size": "25", "notation": "g6"}, "24.980 to 24.993 mm", "Tables 1, 4 and 5"),
        ({"size": "1.25", "notation": "H7", "unit_of_measure": "in"}, "1.250000 to 1.250984 in", "ISO 286-1:2010"),
        ({"standard": "iso13920", "size": "400", "letter": "B"}, "398 to 402 mm", "ISO 13920:2023"),
        ({"standard": "iso13920", "kind": "flatness", "size": "640", "letter": "F"}, "max 3 mm", "Table 3"),
        (
            {"standard": "iso13920", "kind": "angle", "size": "400", "letter": "B", "nominal": "9"},
            "8.25 to 9.75 °",
            "2",
        ),
        ({"standard": "iso13920", "kind": "angle offset", "size": "400", "letter": "B"}, "−5.2 to 5.2 mm", "Table 2"),
        ({"standard": "iso2768", "size": "400", "letter": "m"}, "399.5 to 400.5 mm", "ISO 2768-1:1989, Table 1"),
        ({"standard": "iso2768", "kind": "broken edge", "size": "0.5", "letter": "m"}, "0.3 to 0.7 mm", "Table 2"),
        ({"standard": "iso2768", "kind": "run-out", "letter": "K"}, "max 0.2 mm", "ISO 2768-2:1989 (withdrawn)"),
        ({"standard": "drawn", "size": "25", "notation": "+0.3/-0.1"}, "24.9 to 25.3 mm", "as drawn"),
        ({"standard": "drawn", "size": "", "notation": "max 0.5"}, "max 0.5 mm", "as drawn"),
        ({"standard": "drawn", "size": "", "notation": "Ra 3.2", "unit_of_measure": "µm"}, "max 3.2 µm", "16 %"),
    ],
)
def test_computes_limits_by_every_standard(ask: Ask, typed: dict[str, str], limits: str, source: str) -> None:
    """Numbers of ISO 286-1, ISO 13920 and ISO 2768 as in tests/vectors (fits, general_tolerances, notations)."""
    page = ask("size", **typed)
    assert headline(page) == limits
    assert source in page


def test_asks_only_for_what_the_kind_goes_by(ask: Ask) -> None:
    run_out = ask("size", standard="iso2768", kind="run-out", letter="H")
    assert 'name="size"' not in run_out
    angle = ask("size", standard="iso13920", kind="angle", size="400", letter="B")
    assert "Shorter leg, mm" in angle
    assert 'name="nominal"' in angle
    assert 'name="unit_of_measure"' not in angle


def test_takes_another_class_where_the_kind_does_not_have_the_one_picked(ask: Ask) -> None:
    """Class B of lengths is not one of flatness, so that switching the kind goes on with one that exists."""
    assert headline(ask("size", standard="iso13920", kind="flatness", size="640", letter="B")) == "max 3 mm"


def test_shows_the_other_classes_each_a_link_away(ask: Ask, client: Client) -> None:
    page = ask("size", size="30", notation="H7")
    links = dict(re.findall(r'<a href="(\?part=size[^"]*)">(H\d+)</a>', page))
    assert list(links.values()) == ["H5", "H6", "H7", "H8", "H9", "H10", "H11", "H12"]
    wider = next(address for address, name in links.items() if name == "H8")
    assert headline(client.get(f"/limits/{wider}").content.decode()) == "30.000 to 30.033 mm"
    assert page.count('aria-current="true"') == 1


def test_judges_a_value_on_the_page(ask: Ask) -> None:
    page = ask("size", size="25.4", notation="H7", value="25.412", expanded_uncertainty="0.012")
    assert "25.412 mm is near limit, 0.009 mm from the upper limit." in page
    assert 'class="notice near verdict"' in page


def test_offers_the_limits_to_copy(ask: Ask) -> None:
    page = ask("size", size="30", notation="H7")
    assert 'data-copy="30 H7: 30.000 to 30.021 mm (ISO 286-1:2010, Table 1)"' in page
    assert 'data-copy="30\tH7\t30.000\t30.021\t\tmm"' in page


def test_shows_a_fit_with_its_usual_pairs(ask: Ask) -> None:
    page = ask("fit", size="30", hole="H7", shaft="k6")
    assert headline(page) == "Transition fit"
    assert 'class="ruler fit"' in page
    assert "locating, light press" in page
    assert "common practice, no source" in page


def test_refuses_a_fit_of_two_holes(ask: Ask) -> None:
    assert "names the hole first and then the shaft" in ask("fit", hole="H7", shaft="H7")


def test_asks_for_the_sizes_of_the_weld_that_count(ask: Ask) -> None:
    page = ask("welds", imperfection="excess weld metal, butt", level="C", width="5")
    assert 'name="width"' in page
    assert 'name="throat"' not in page
    assert headline(page) == "max 1.75 mm"  # 1 + 0.15·5, ISO 5817:2014 Table 1 no. 1.9


def test_says_who_decides_about_welds(ask: Ask) -> None:
    page = ask("welds", imperfection="undercut", level="B", thickness="2")
    assert headline(page) == "not permitted"
    assert "welding coordinator's" in page


def test_says_what_the_carbon_equivalent_means(ask: Ask) -> None:
    page = ask("carbon", first="4130", first_C="0.31", first_Mn="0.52", first_Cr="0.98", first_Mo="0.19", second="1020")
    assert headline(page) == "0.63 %"  # 0.31 + 0.52/6 + (0.98 + 0.19)/5
    assert "hydrogen cracking must be expected" in page
    assert "the responsible weld engineer's decision" in page
    assert '<details class="more" open>' in page
    assert '<details class="more">' in ask("carbon")


def test_draws_the_sampling_plan_with_a_table_beside_it(ask: Ask) -> None:
    page = ask("sampling", lot_size="100", aql="1.0")
    assert headline(page) == "Check 13 of 100"
    assert 'aria-label="Probability of acceptance over quality' in page
    assert "MIL-STD-105E:1989 Table II-A" in page
    assert "Critical checkpoints are never sampled" in page


@pytest.mark.parametrize(
    ("lot_size", "sentence"), [("1", "check each piece"), ("many", "whole number"), ("", "Fill it in.")]
)
def test_says_what_is_no_lot(ask: Ask, lot_size: str, sentence: str) -> None:
    page = ask("sampling", lot_size=lot_size)
    assert sentence in page
    assert "<svg role=" not in page


def test_warns_of_stored_energy_beside_a_leak_rate(ask: Ask) -> None:
    page = ask("leak")
    assert "Compressed gas stores energy" in page
    assert "40 CFR 1065.644" in page


def test_needs_the_barometer_for_a_gauge_that_shows_pressure_above_air(ask: Ask) -> None:
    assert "needs the air pressure" in ask("leak", barometer="")


def test_writes_nothing_that_was_typed_as_markup(client: Client) -> None:
    page = client.get("/limits/", {"part": "size", "notation": "<b>7", "size": "30"}).content.decode()
    assert "<b>" not in page
