"""Stations: which stages are inspected where, what waits there, and what a tablet of the place lists."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from qcapp.audit.queries import entries_about
from qcapp.inspections.queries.waiting import StageAt, stage_at
from qcapp.people.models import Person
from qcapp.production.queries.stations import station_named, stations
from qcapp.production.services.places import add_place
from qcapp.production.services.stations import set_station

from ..cast import Cast
from ..factories.inspections import Workshop
from ..unchanged import refused

pytestmark = pytest.mark.django_db
ClientOf = Callable[[Person], Client]


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    workshop = Workshop.opened(cast)
    for code, name in (("CELL-1", "Tack cell"), ("BENCH-2", "Alignment bench")):
        add_place(by=cast.quality_manager, code=code, name=name, at=workshop.at)
    return workshop


def given(workshop: Workshop, place: str, *stages: int) -> None:
    set_station(by=workshop.cast.keeper, place_code=place, family_code="fr-200", stages=stages, at=workshop.at)


class TestSetting:
    def test_gives_stages_of_a_family_to_a_place_and_takes_them_away_again(self, workshop: Workshop) -> None:
        given(workshop, "cell-1", 2, 1, 2)
        (card,) = stations()
        assert (card.code, card.stages) == ("CELL-1", {"FR-200": (1, 2)})
        assert station_named("tack CELL") == card
        assert card.takes("FR-200", 2)
        assert not card.takes("FR-200", 3)
        assert not card.takes("FR-200", None)
        assert {one.verb for one in entries_about("place CELL-1")} == {"place.added", "station.set"}
        given(workshop, "CELL-1")
        assert stations() == []

    def test_is_set_by_the_keeper_or_the_quality_manager_at_a_known_place(self, workshop: Workshop) -> None:
        cast, known = workshop.cast, {"place_code": "CELL-1", "family_code": "FR-200", "at": workshop.at}
        with refused("not_permitted", "production"):
            set_station(by=cast.inspector, stages=[1], **known)
        with refused("stage_number", "production"):
            set_station(by=cast.keeper, stages=[0], **known)
        with refused("place_unknown", "production"):
            set_station(by=cast.keeper, stages=[1], **known | {"place_code": "MOON"})
        with refused("family_unknown", "production"):
            set_station(by=cast.keeper, stages=[1], **known | {"family_code": "XX-1"})


class TestWaiting:
    def test_puts_a_unit_at_its_first_stage_that_no_signature_covers(self, workshop: Workshop) -> None:
        item = workshop.item_id
        assert stage_at([item])[item].number == 1
        workshop.answer_stage(1)
        workshop.sign(1)
        assert stage_at([item])[item].number == 2
        other = workshop.another_unit("FR-200-0148")
        found = stage_at([item, other.item_id])
        assert {found[item].number, found[other.item_id].number} == {1, 2}
        assert isinstance(found[item], StageAt)

    def test_puts_it_back_where_an_answer_has_changed_since_the_signature(self, workshop: Workshop) -> None:
        head = workshop.answer_stage(1)[0]
        workshop.sign(1)
        workshop.at += timedelta(minutes=5)
        later = workshop.send_one("head_angle", "61.95", base=head.id, purpose="correction", reason="misread")
        assert later.outcome == "applied"
        assert stage_at([workshop.item_id])[workshop.item_id].number == 1

    def test_knows_nothing_of_what_is_on_no_plan(self) -> None:
        assert stage_at([4711]) == {}


class TestPages:
    def test_lists_first_what_waits_at_the_station_that_was_picked_and_remembers_it(
        self, workshop: Workshop, client_of: ClientOf
    ) -> None:
        workshop.answer_stage(1)
        workshop.sign(1)
        workshop.another_unit("FR-200-0148")
        given(workshop, "CELL-1", 1)
        given(workshop, "BENCH-2", 2)
        client = client_of(workshop.cast.inspector)
        plain = client.get("/floor/").content.decode()
        assert "Waits at" not in plain
        page = client.get("/floor/?station=BENCH-2")
        assert page.cookies["qcapp_station"].value == "BENCH-2"
        for answer in (page, client.get("/floor/")):  # the cookie says it from then on
            text = answer.content.decode()
            here, elsewhere = text.split("Elsewhere in build")
            assert "FR-200-0147" in here
            assert "FR-200-0148" not in here
            assert "FR-200-0148" in elsewhere
        assert "Waits at" not in client.get("/floor/?station=").content.decode()

    def test_takes_the_place_of_an_enrolled_tablet(self, workshop: Workshop) -> None:
        from ..factories.tablets import enrolled

        given(workshop, "CELL-1", 1)
        tablet, token = enrolled(workshop.cast.keeper, workshop.at)
        type(tablet).objects.filter(pk=tablet.pk).update(place="tack cell")
        client = Client()
        client.force_login(workshop.cast.inspector)
        client.cookies["qcapp_tablet"] = token
        assert "Waits at Tack cell" in client.get("/floor/").content.decode()

    def test_shows_and_sets_stations_in_the_office(self, workshop: Workshop, client_of: ClientOf) -> None:
        keeper = client_of(workshop.cast.keeper)
        told = {"place_code": "BENCH-2", "family_code": "FR-200", "stages": "2, 3"}
        assert keeper.post("/stations/", told).status_code == 302
        assert "2, 3" in keeper.get("/stations/").content.decode()
        wrong = keeper.post("/stations/", told | {"stages": "two"})
        assert (wrong.status_code, "Write the numbers" in wrong.content.decode()) == (400, True)
        reader = client_of(workshop.cast.inspector)
        assert "Set a station" not in reader.get("/stations/").content.decode()
        assert reader.post("/stations/", told).status_code == 403
