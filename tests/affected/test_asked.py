"""A question that is asked leaves a record: who asked it, what was known then, and nothing where it was refused."""

from __future__ import annotations

import io
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.urls import reverse

from qcapp.affected import services
from qcapp.affected.models import KeptList
from qcapp.affected.queries import ASKED, asked_lately
from qcapp.affected.services import ask, keep_list
from qcapp.audit.queries import entries_about
from qcapp.production.models import Unit
from tests.cast import FIXED_NOW, Cast
from tests.unchanged import refused, unchanged

from .records import Records, make

pytestmark = pytest.mark.django_db
PLACES = ("affected", "audit.Entry")
QUESTION = "heat 7K4412"


@pytest.fixture
def records(cast: Cast) -> Records:
    assert cast.quality_manager
    assert cast.welder
    return make(cast)


def asked() -> list[dict[str, Any]]:
    return [entry.payload for entry in entries_about(ASKED)]


def test_records_who_asked_what_and_what_was_known_then(records: Records, cast: Cast) -> None:
    found = ask(by=cast.quality_manager, question="HEAT 7K4412", at=FIXED_NOW, through="page")
    (entry,) = entries_about(ASKED)
    assert (entry.verb, entry.actor, entry.at) == ("affected.asked", str(cast.quality_manager.uuid), FIXED_NOW)
    assert (entry.payload["question"], entry.payload["through"]) == (QUESTION, "page")
    assert entry.payload["units"] == dict(found.counts)
    serials = [serial for some in entry.payload["serials"].values() for serial in some]
    assert sorted(serials) == sorted(row.serial for row in found.rows)
    assert serials


def test_seals_the_answer_as_a_list_kept_of_it_is_sealed(records: Records, cast: Cast) -> None:
    """So it can be shown that a list holds what was answered, and that another answer was given later."""
    told: dict[str, Any] = {"by": cast.quality_manager, "question": QUESTION}
    ask(at=FIXED_NOW, through="page", **told)
    number = keep_list(name="Wrong chromium", at=FIXED_NOW, **told)
    Unit.objects.filter(serial=asked()[0]["serials"]["in build"][0]).update(state="scrapped")
    ask(at=FIXED_NOW, through="page", **told)
    later, first = asked()
    assert first["answer"] == KeptList.objects.get(number=number).digest
    assert later["answer"] != first["answer"]


def test_records_nothing_of_a_question_that_is_refused(records: Records, cast: Cast) -> None:
    for changes, code in (
        ({"question": "heat"}, "question_not_readable"),
        ({"question": "heat 9Z"}, "nothing_of_that_name"),
        ({"by": cast.welder}, "not_permitted"),
    ):
        with refused(code, *PLACES):
            ask(**({"by": cast.quality_manager, "question": QUESTION, "at": FIXED_NOW, "through": "page"} | changes))


def test_names_no_more_serials_than_can_be_kept_and_seals_them_all(
    records: Records, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = ask(by=None, question=QUESTION, at=FIXED_NOW, through="command")
    monkeypatch.setattr(services, "MOST_NAMED", 1)
    ask(by=None, question=QUESTION, at=FIXED_NOW, through="command")
    short, full = asked()
    assert sum(map(len, short["serials"].values())) == 1
    assert sum(map(len, full["serials"].values())) == len(whole.rows) > 1
    assert short["answer"] == full["answer"]


def test_records_a_question_asked_on_the_page_but_not_the_empty_page(
    records: Records, cast: Cast, client_of: Any
) -> None:
    client, page = client_of(cast.quality_manager), reverse("affected:ask")
    with unchanged(*PLACES):
        assert "Nothing was asked yet." in client.get(page).content.decode()
        assert client.get(page, {"ask": "heat 9Z"}).status_code == 404
        client.post(reverse("affected:keep"), {"ask": QUESTION, "name": ""})
    text = client.get(page, {"ask": QUESTION}).content.decode()
    assert [one["through"] for one in asked()] == ["page"]
    assert "Nothing was asked yet." in text
    (card,) = asked_lately()
    assert (card.question, card.by_name) == (QUESTION, cast.quality_manager.name)
    assert card.by_name in client.get(page).content.decode()
    by_rows = client.get(page, {"join": "with", "by": "heat", "value": "7K4412", "from": "", "to": ""}, follow=True)
    assert by_rows.status_code == 200
    assert len(asked()) == 2


def test_records_a_question_asked_by_command(records: Records, cast: Cast) -> None:
    call_command("affected", QUESTION, stdout=io.StringIO())
    call_command("affected", QUESTION, "--by", cast.quality_manager.badge, stdout=io.StringIO())
    with pytest.raises(CommandError, match="not_permitted"), unchanged(*PLACES):
        call_command("affected", QUESTION, "--by", cast.welder.badge, stdout=io.StringIO())
    entries = entries_about(ASKED)
    assert [entry.actor for entry in entries] == [str(cast.quality_manager.uuid), ""]
    assert {entry.payload["through"] for entry in entries} == {"command"}
    assert asked_lately()[1].by_name == ""
