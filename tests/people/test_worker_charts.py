"""Who may see charts by person is named by the keeper, and stands in the audit."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client

from qcapp.audit.queries import entries_about
from qcapp.people.queries import reads_worker_charts
from qcapp.people.services import end_chart_reader, mark_left, name_chart_reader
from tests.cast import FIXED_NOW, Cast
from tests.unchanged import refused

ClientOf = Callable[..., Client]


def test_names_somebody_and_ends_it(cast: Cast) -> None:
    assert not reads_worker_charts(cast.quality_manager)
    name_chart_reader(by=cast.keeper, person=cast.quality_manager, at=FIXED_NOW)
    assert reads_worker_charts(cast.quality_manager)
    assert not reads_worker_charts(cast.second_quality_manager)
    end_chart_reader(by=cast.keeper, person=cast.quality_manager, at=FIXED_NOW)
    assert not reads_worker_charts(cast.quality_manager)
    verbs = [entry.verb for entry in entries_about(f"person {cast.quality_manager.badge}")]
    assert verbs[:2] == ["person.worker_charts_closed", "person.worker_charts_opened"]


@pytest.mark.parametrize("who", ["quality_manager", "engineer"])
def test_lets_nobody_but_a_keeper_name(cast: Cast, who: str) -> None:
    keeper, person = cast.keeper, getattr(cast, who)
    with refused("not_permitted", "people"):
        name_chart_reader(by=person, person=person, at=FIXED_NOW)
    name_chart_reader(by=keeper, person=person, at=FIXED_NOW)
    with refused("not_permitted", "people"):
        end_chart_reader(by=person, person=person, at=FIXED_NOW)


def test_refuses_what_changes_nothing(cast: Cast) -> None:
    keeper, manager, gone = cast.keeper, cast.quality_manager, cast.engineer
    mark_left(by=keeper, person=gone, at=FIXED_NOW)
    with refused("charts_not_open", "people"):
        end_chart_reader(by=keeper, person=manager, at=FIXED_NOW)
    with refused("person_not_here", "people"):
        name_chart_reader(by=keeper, person=gone, at=FIXED_NOW)
    name_chart_reader(by=keeper, person=manager, at=FIXED_NOW)
    with refused("charts_already_open", "people"):
        name_chart_reader(by=keeper, person=manager, at=FIXED_NOW)


def test_is_kept_on_the_person_s_page(cast: Cast, client_of: ClientOf) -> None:
    client, page = client_of(cast.keeper), f"/people/{cast.engineer.uuid}/"
    assert b"Nobody does who is not named here" in client.get(page).content
    client.post(f"{page}charts/")
    assert reads_worker_charts(cast.engineer)
    assert b"Close the charts by person" in client.get(page).content
    client.post(f"{page}charts/end/")
    assert not reads_worker_charts(cast.engineer)
