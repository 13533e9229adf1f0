"""Shared tablets: enrolled once, revoked for good, people on them by their keys."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest

from qcapp.audit.models import Entry
from qcapp.core.errors import Conflict, NotAllowed
from qcapp.people import services
from qcapp.people.models import AsideEntry, Tablet, TabletKey
from qcapp.people.queries import aside_cards, tablet_cards, tablet_of_token
from tests.cast import FIXED_NOW, Cast
from tests.factories.tablets import Pair, enrolled, put_on
from tests.unchanged import refused

pytestmark = pytest.mark.django_db(transaction=True)
HERE = "127.0.0.1"
OPERATION = {"id": "0198c0de-0000-7000-8000-000000000001", "serial": "FR-200-0147", "answer": {"value": "61.9"}}


class TestEnrolling:
    def test_knows_the_tablet_by_its_token_from_then_on(self, cast: Cast) -> None:
        tablet, token = enrolled(cast.keeper, FIXED_NOW)
        assert tablet_of_token(token) == tablet
        assert tablet_of_token(token + "x") is None
        assert token not in str(Tablet.objects.values())

    def test_takes_a_code_once_and_for_half_an_hour(self, cast: Cast) -> None:
        _, code = services.add_tablet(by=cast.keeper, name="Bench 3", place="", at=FIXED_NOW)
        late = FIXED_NOW + timedelta(minutes=31)
        with pytest.raises(NotAllowed, match="not valid"):
            services.enrol(code=code, at=late, address=HERE)
        services.enrol(code=f" {code.lower()} ", at=FIXED_NOW + timedelta(minutes=29), address="127.0.0.2")
        with pytest.raises(NotAllowed) as caught:
            services.enrol(code=code, at=FIXED_NOW + timedelta(minutes=29), address="127.0.0.3")
        assert caught.value.code == "code_unknown"

    def test_lets_only_the_keeper_add_and_revoke(self, cast: Cast) -> None:
        tablet, _ = enrolled(cast.keeper, FIXED_NOW)
        inspector, manager = cast.inspector, cast.quality_manager
        with refused("not_permitted", "people"):
            services.add_tablet(by=inspector, name="Mine", place="", at=FIXED_NOW)
        with refused("not_permitted", "people"):
            services.revoke_tablet(by=manager, tablet=tablet, reason="lost", at=FIXED_NOW)

    def test_gives_no_name_twice(self, cast: Cast) -> None:
        enrolled(cast.keeper, FIXED_NOW)
        with refused("tablet_name_taken", "people"):
            services.add_tablet(by=cast.keeper, name="bench 3", place="", at=FIXED_NOW)

    def test_refuses_a_key_that_is_no_point_of_the_curve(self, cast: Cast) -> None:
        tablet, _ = enrolled(cast.keeper, FIXED_NOW)
        proof = services.demonstration_proof(cast.inspector, FIXED_NOW)
        with refused("key_unreadable", "people"):
            services.add_person_to_tablet(
                proof=proof, tablet=tablet, entry_key="AAAA", sign_key=Pair.made().public, at=FIXED_NOW
            )


class TestSwitching:
    def test_gives_the_person_whose_key_signed_the_nonce(self, cast: Cast) -> None:
        services.set_pin(by=None, person=cast.inspector, pin="271845", at=FIXED_NOW)
        tablet, _ = enrolled(cast.keeper, FIXED_NOW)
        person = put_on(tablet, cast.inspector, FIXED_NOW)
        nonce = services.nonce_for(tablet)
        signature = person.entry.sign("qcapp switch 1", nonce)
        proof = services.person_by_key(tablet=tablet, key=person.key, nonce=nonce, signature=signature, at=FIXED_NOW)
        assert (proof.person, proof.method) == (cast.inspector, "tablet")

    def test_refuses_another_key_purpose_tablet_nonce_or_pin(self, cast: Cast) -> None:
        services.set_pin(by=None, person=cast.inspector, pin="271845", at=FIXED_NOW)
        tablet, _ = enrolled(cast.keeper, FIXED_NOW)
        other, _ = enrolled(cast.keeper, FIXED_NOW, "Bench 4")
        person = put_on(tablet, cast.inspector, FIXED_NOW)
        nonce = services.nonce_for(tablet)
        good = person.entry.sign("qcapp switch 1", nonce)
        tries = [
            (tablet, nonce, person.signing.sign("qcapp switch 1", nonce)),
            (tablet, nonce, person.entry.sign("qcapp entry 1", nonce)),
            (other, nonce, good),
            (tablet, services.nonce_for(other), good),
            (tablet, nonce + "x", good),
            (tablet, nonce, "not base64"),
        ]
        for where, said, signature in tries:
            with refused("key_refused", "people"):
                services.person_by_key(tablet=where, key=person.key, nonce=said, signature=signature, at=FIXED_NOW)

        services.set_pin(by=None, person=cast.inspector, pin="958413", at=FIXED_NOW)
        with pytest.raises(NotAllowed):
            services.person_by_key(tablet=tablet, key=person.key, nonce=nonce, signature=good, at=FIXED_NOW)

    def test_opens_by_the_latest_key_of_a_person_only(self, cast: Cast) -> None:
        services.set_pin(by=None, person=cast.inspector, pin="271845", at=FIXED_NOW)
        tablet, _ = enrolled(cast.keeper, FIXED_NOW)
        first = put_on(tablet, cast.inspector, FIXED_NOW)
        put_on(tablet, cast.inspector, FIXED_NOW)
        nonce = services.nonce_for(tablet)
        with pytest.raises(NotAllowed):
            services.person_by_key(
                tablet=tablet,
                key=first.key,
                nonce=nonce,
                signature=first.entry.sign("qcapp switch 1", nonce),
                at=FIXED_NOW,
            )
        assert TabletKey.objects.count() == 2


class TestKeptAside:
    def test_keeps_what_a_revoked_tablet_sends_once(self, cast: Cast) -> None:
        tablet, _ = enrolled(cast.keeper, FIXED_NOW)
        services.revoke_tablet(by=cast.keeper, tablet=tablet, reason="left in the van", at=FIXED_NOW)
        for _ in range(2):
            (answer,) = services.keep_aside(tablet=tablet, operations=[OPERATION], at=FIXED_NOW)
            assert answer["outcome"] == "kept_aside"
        assert [card.body for card in aside_cards()] == [OPERATION]

    def test_lets_nobody_be_added_to_a_revoked_tablet(self, cast: Cast) -> None:
        tablet, _ = enrolled(cast.keeper, FIXED_NOW)
        services.revoke_tablet(by=cast.keeper, tablet=tablet, reason="lost", at=FIXED_NOW)
        with pytest.raises(Conflict) as caught:
            put_on(tablet, cast.inspector, FIXED_NOW)
        assert caught.value.code == "tablet_revoked"

    def test_writes_a_discarded_entry_into_the_audit_once(self, cast: Cast) -> None:
        for _ in range(2):
            services.discard_entry(by=cast.inspector, body=OPERATION, reason="Entered twice", tablet=None, at=FIXED_NOW)
        entry = Entry.objects.get(verb="tablet.entry_discarded")
        assert entry.subject == "unit FR-200-0147"
        assert "Entered twice" in entry.payload.body
        assert AsideEntry.objects.get().by == cast.inspector

    def test_names_the_gauge_that_a_discarded_doubt_was_about(self, cast: Cast) -> None:
        doubt = {"id": OPERATION["id"], "gauge": "HG-07", "reason": "Dropped"}
        services.discard_entry(by=cast.inspector, body=doubt, reason="Entered twice", tablet=None, at=FIXED_NOW)
        assert Entry.objects.latest("id").subject == "gauge HG-07"

    def test_needs_a_reason_to_discard(self, cast: Cast) -> None:
        inspector = cast.inspector
        with refused("text_missing", "people"):
            services.discard_entry(by=inspector, body=OPERATION, reason=" ", tablet=None, at=FIXED_NOW)


def test_shows_each_tablet_with_what_it_has_not_sent(cast: Cast, client_of: Any) -> None:
    tablet, _ = enrolled(cast.keeper, FIXED_NOW)
    put_on(tablet, cast.inspector, FIXED_NOW)
    since = FIXED_NOW - timedelta(hours=1)
    services.tablet_contact(tablet=tablet, at=FIXED_NOW, unsent=23, since=since, version="abc")
    (card,) = tablet_cards()
    assert (card.unsent, card.unsent_since, card.version) == (23, since, "abc")
    assert card.people == (cast.inspector.name,)
    for person in (cast.keeper, cast.quality_manager):
        page = client_of(person).get("/tablets/").text
        assert re.search(r"<strong>23</strong> since \d", page), person
