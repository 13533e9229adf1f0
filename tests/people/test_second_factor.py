"""The second factor: published codes, each code once, the sign-in's second page, roles that need one, its end."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import pyotp
import pytest
from django.core.management import CommandError, call_command
from django.test import Client
from django.utils import timezone

from qcapp.audit.models import Entry
from qcapp.people import codes, queries, services
from qcapp.people.models import Person, RecoveryCode, SecondFactor
from qcapp.people.second_factor_views import AWAITING
from tests.cast import FIXED_NOW, PASSWORD, Cast
from tests.unchanged import refused

Browser = Callable[[Person], Client]
SECRET = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # base32 of "12345678901234567890", the secret of the RFCs' tables
# RFC 6238, appendix B, SHA-1, the last six of eight digits (from memory).
PUBLISHED = {
    59: "287082",
    1111111109: "081804",
    1111111111: "050471",
    1234567890: "005924",
    2000000000: "279037",
    20000000000: "353130",
}


@pytest.mark.parametrize(("seconds", "code"), PUBLISHED.items())
def test_takes_the_published_codes_at_their_second(seconds: int, code: str) -> None:
    at = datetime.fromtimestamp(seconds, UTC)
    assert codes.step_of(SECRET, code, at, after=0) == seconds // 30
    assert codes.step_of(SECRET, f"{code[:3]} {code[3:]}", at, after=0) == seconds // 30


def test_takes_a_neighbouring_step_and_none_further_away() -> None:
    at = datetime.fromtimestamp(1111111109, UTC)
    for away, fits in ((-90, False), (-30, True), (30, True), (90, False)):
        code = pyotp.TOTP(SECRET).at(at + timedelta(seconds=away))
        assert (codes.step_of(SECRET, code, at, after=0) is not None) is fits


def test_keeps_the_secret_unreadable_in_the_database() -> None:
    sealed = codes.seal(SECRET)
    assert SECRET not in sealed
    assert codes.unseal(sealed) == SECRET


def test_says_what_to_do_when_the_key_of_the_site_is_another(settings: Any) -> None:
    sealed = codes.seal(SECRET)
    settings.QCAPP_PIN_PEPPER = b"another pepper of at least thirty-two bytes"
    with pytest.raises(Exception, match="Ask the keeper") as caught:
        codes.unseal(sealed)
    assert caught.value.code == "second_factor_unreadable"  # type: ignore[attr-defined]


def test_makes_paper_codes_that_differ_and_read_in_any_writing() -> None:
    papers = codes.new_paper_codes()
    assert len(set(papers)) == codes.PAPER_CODES
    assert all(re.fullmatch(r"(?:[A-Z2-7]{4}-){5}[A-Z2-7]{4}", code) for code in papers)
    assert codes.paper_digest(papers[0].lower().replace("-", " ")) == codes.paper_digest(papers[0])


@pytest.fixture
def keeper(cast: Cast) -> Person:
    return cast.keeper


def proof(person: Person, at: datetime = FIXED_NOW) -> services.Proof:
    return services.demonstration_proof(person, at)


def code_at(secret: str, at: datetime) -> str:
    return pyotp.TOTP(secret).at(at)


def set_up(person: Person, at: datetime = FIXED_NOW) -> tuple[str, list[str]]:
    begun = services.begin_second_factor(proof=proof(person, at), at=at)
    papers = services.confirm_second_factor(by=person, code=code_at(begun.secret, at), at=at)
    return begun.secret, papers


def check(person: Person, code: str, at: datetime) -> None:
    services.check_second_factor(person=person, code=code, at=at, address="192.0.2.7")


@pytest.mark.django_db(transaction=True)
class TestCodes:
    def test_counts_for_nothing_until_a_first_code_confirms_it(self, keeper: Person) -> None:
        services.begin_second_factor(proof=proof(keeper), at=FIXED_NOW)
        assert queries.person_by_badge(keeper.badge).second_factor_at is None
        with refused("code_wrong", "people"):
            services.confirm_second_factor(by=keeper, code="000000", at=FIXED_NOW)
        assert services.begun_second_factor(keeper) is not None

    def test_takes_each_code_once(self, keeper: Person) -> None:
        secret, _ = set_up(keeper)
        later = FIXED_NOW + timedelta(minutes=2)
        check(keeper, code_at(secret, later), later)
        with pytest.raises(Exception, match="does not fit") as caught:
            check(keeper, code_at(secret, later), later)
        assert caught.value.code == "code_wrong"  # type: ignore[attr-defined]
        assert SecondFactor.objects.get().last_step == int(later.timestamp()) // 30

    def test_takes_no_code_older_than_the_one_it_took(self, keeper: Person) -> None:
        secret, _ = set_up(keeper)
        now = FIXED_NOW + timedelta(minutes=2)
        check(keeper, code_at(secret, now + timedelta(seconds=30)), now)
        with pytest.raises(Exception, match="does not fit"):
            check(keeper, code_at(secret, now), now)

    def test_takes_a_paper_code_once_and_writes_it_down(self, keeper: Person) -> None:
        _, papers = set_up(keeper)
        check(keeper, papers[3].lower(), FIXED_NOW)
        assert services.recovery_codes_left(keeper) == codes.PAPER_CODES - 1
        assert Entry.objects.latest("number").verb == "person.recovery_code_used"
        with pytest.raises(Exception, match="does not fit"):
            check(keeper, papers[3], FIXED_NOW)
        assert services.recovery_codes_left(keeper) == codes.PAPER_CODES - 1

    def test_makes_whoever_guesses_wait_and_looks_at_nothing_meanwhile(self, keeper: Person) -> None:
        secret, _ = set_up(keeper)
        later = FIXED_NOW + timedelta(minutes=2)
        for _ in range(5):
            with pytest.raises(Exception, match="does not fit"):
                check(keeper, "000000", later)
        with pytest.raises(Exception, match="Too many attempts") as caught:
            check(keeper, code_at(secret, later), later)
        assert caught.value.code == "too_many_attempts"  # type: ignore[attr-defined]

    def test_writes_each_wrong_code_into_the_audit(self, keeper: Person) -> None:
        set_up(keeper)
        before = Entry.objects.count()
        with pytest.raises(Exception, match="does not fit"):
            check(keeper, "000000", FIXED_NOW)
        entry = Entry.objects.latest("number")
        assert (Entry.objects.count(), entry.verb) == (before + 1, "sign_in.refused")
        assert "000000" not in str(entry.payload)

    def test_makes_old_paper_codes_void_by_fresh_ones(self, keeper: Person) -> None:
        _, old = set_up(keeper)
        fresh = services.renew_recovery_codes(proof=proof(keeper), at=FIXED_NOW)
        assert not set(old) & set(fresh)
        with pytest.raises(Exception, match="does not fit"):
            check(keeper, old[0], FIXED_NOW)
        check(keeper, fresh[0], FIXED_NOW)

    def test_refuses_a_second_one_beside_the_first(self, keeper: Person) -> None:
        set_up(keeper)
        with refused("second_factor_is_set", "people"):
            services.begin_second_factor(proof=proof(keeper), at=FIXED_NOW)
        with refused("second_factor_not_begun", "people"):
            services.confirm_second_factor(by=keeper, code="123456", at=FIXED_NOW)

    def test_ends_by_the_person_or_a_keeper_and_nobody_else(self, keeper: Person, cast: Cast) -> None:
        manager = cast.quality_manager
        set_up(manager)
        engineer = cast.engineer
        with refused("not_permitted", "people"):
            services.end_second_factor(by=engineer, person=manager, at=FIXED_NOW)
        services.end_second_factor(by=keeper, person=manager, at=FIXED_NOW)
        assert not RecoveryCode.objects.exists()
        with refused("second_factor_missing", "people"):
            services.end_second_factor(by=keeper, person=manager, at=FIXED_NOW)
        with refused("second_factor_missing", "people"):
            services.renew_recovery_codes(proof=proof(manager), at=FIXED_NOW)

    def test_ends_from_the_server_s_shell(self, keeper: Person, capsys: pytest.CaptureFixture[str]) -> None:
        set_up(keeper)
        call_command("end_second_factor", keeper.badge)
        assert "signs in by password alone" in capsys.readouterr().out
        assert queries.person_by_badge(keeper.badge).second_factor_at is None
        with pytest.raises(CommandError, match="has no second factor"):
            call_command("end_second_factor", keeper.badge)


def by_password(client: Client, person: Person, **more: str) -> Any:
    return client.post("/sign-in/", {"badge": person.badge, "password": PASSWORD, **more})


def signed_in(client: Client, person: Person) -> bool:
    return client.session.get("_auth_user_id") == str(person.pk)


@pytest.mark.django_db(transaction=True)
class TestSigningIn:
    def test_signs_nobody_in_by_the_password_alone(self, keeper: Person, client: Client) -> None:
        secret, _ = set_up(keeper, timezone.now() - timedelta(minutes=5))
        answer = by_password(client, keeper, next="/audit/")
        assert (answer.status_code, answer["Location"]) == (302, "/sign-in/code/")
        assert not signed_in(client, keeper)
        assert client.get("/audit/").status_code == 302
        page = client.get("/sign-in/code/")
        assert "six digits" in page.text
        wrong = client.post("/sign-in/code/", {"code": "000000"})
        assert (wrong.status_code, signed_in(client, keeper)) == (403, False)
        right = client.post("/sign-in/code/", {"code": code_at(secret, timezone.now())})
        assert (right.status_code, right["Location"]) == (302, "/audit/")
        assert signed_in(client, keeper)
        assert AWAITING not in client.session

    def test_asks_for_the_password_again_after_five_minutes(self, keeper: Person, client: Client) -> None:
        secret, _ = set_up(keeper, timezone.now() - timedelta(minutes=5))
        by_password(client, keeper)
        session = client.session
        session[AWAITING] = session[AWAITING] | {"at": timezone.now().timestamp() - 301}
        session.save()
        answer = client.post("/sign-in/code/", {"code": code_at(secret, timezone.now())})
        assert (answer.status_code, signed_in(client, keeper)) == (403, False)
        assert "within five minutes" in answer.text

    def test_knows_nobody_who_comes_to_the_code_without_a_password(self, keeper: Person, client: Client) -> None:
        set_up(keeper)
        assert "after badge and password" in client.get("/sign-in/code/").text
        assert client.post("/sign-in/code/", {"code": "123456"}).status_code == 403

    def test_asks_programs_for_a_code_too(self, keeper: Person, client: Client) -> None:
        secret, _ = set_up(keeper, timezone.now() - timedelta(minutes=5))
        given = {"badge": keeper.badge, "password": PASSWORD}
        missing = client.post("/api/v1/session", given, content_type="application/json")
        assert (missing.status_code, missing.json()["code"]) == (403, "code_needed")
        wrong = client.post("/api/v1/session", given | {"code": "000000"}, content_type="application/json")
        assert (wrong.status_code, wrong.json()["code"]) == (403, "code_wrong")
        assert not signed_in(client, keeper)
        code = code_at(secret, timezone.now())
        right = client.post("/api/v1/session", given | {"code": code}, content_type="application/json")
        assert (right.status_code, signed_in(client, keeper)) == (200, True)

    def test_ends_the_sessions_that_a_password_alone_had_opened(self, keeper: Person, client_of: Browser) -> None:
        elsewhere = client_of(keeper)
        assert elsewhere.get("/people/").status_code == 200
        set_up(keeper)
        assert elsewhere.get("/people/").status_code == 302


@pytest.mark.django_db(transaction=True)
class TestPages:
    def test_sets_one_up_shows_its_paper_codes_once_and_ends_it(self, keeper: Person, client: Client) -> None:
        by_password(client, keeper)
        assert "Set it up" in client.get("/account/").text
        wrong = client.post("/account/second-factor/begin/", {"current": "not the password"})
        assert (wrong.status_code, SecondFactor.objects.count()) == (403, 0)
        client.post("/account/second-factor/begin/", {"current": PASSWORD})
        page = client.get("/account/second-factor/").text
        secret = codes.unseal(SecondFactor.objects.get().sealed_secret)
        assert "<svg" in page
        assert " ".join(secret[at : at + 4] for at in range(0, len(secret), 4)) in page
        wrong = client.post("/account/second-factor/confirm/", {"code": "000000"})
        assert (wrong.status_code, "does not fit" in wrong.text) == (400, True)
        shown = client.post("/account/second-factor/confirm/", {"code": code_at(secret, timezone.now())})
        papers = re.findall(r"<code>([A-Z2-7-]{29})</code>", shown.text)
        assert len(papers) == codes.PAPER_CODES
        assert papers[0] not in client.get("/account/second-factor/").text
        assert signed_in(client, keeper)
        renewed = client.post("/account/second-factor/renew/", {"current": PASSWORD})
        assert not set(papers) & set(re.findall(r"<code>([A-Z2-7-]{29})</code>", renewed.text))
        client.post("/account/second-factor/end/", {"current": PASSWORD})
        assert queries.person_by_badge(keeper.badge).second_factor_at is None
        assert signed_in(client, keeper)

    def test_lets_the_keeper_end_it_for_somebody(self, keeper: Person, cast: Cast, client_of: Browser) -> None:
        manager = cast.quality_manager
        set_up(manager)
        at_work = client_of(keeper)
        assert "End the second factor" in at_work.get(f"/people/{manager.uuid}/").text
        at_work.post(f"/people/{manager.uuid}/second-factor/end/")
        assert queries.person_by_badge(manager.badge).second_factor_at is None
        assert "End the second factor" not in at_work.get(f"/people/{manager.uuid}/").text


@pytest.mark.django_db
class TestWhereItIsAsked:
    @pytest.fixture(autouse=True)
    def office(self, settings: Any) -> None:
        settings.QCAPP_SECOND_FACTOR = "office"

    def test_opens_nothing_but_the_account_to_office_roles(self, keeper: Person, client_of: Browser) -> None:
        at_work = client_of(keeper)
        assert at_work.get("/people/")["Location"] == "/account/second-factor/"
        before = Person.objects.count()
        at_work.post("/people/add/", {"badge": "7777", "name": "Nell Aster", "initials": "NA"})
        assert Person.objects.count() == before
        assert at_work.get("/account/").status_code == 200
        assert "asks for a second factor" in at_work.get("/account/second-factor/").text
        answer = at_work.get("/api/v1/units?find=FR")
        assert (answer.status_code, answer.json()["code"]) == (403, "second_factor_needed")

    def test_opens_everything_once_it_is_set_up(self, keeper: Person, client_of: Browser) -> None:
        set_up(keeper)
        assert client_of(queries.person_by_badge(keeper.badge)).get("/people/").status_code == 200

    def test_asks_nobody_whose_roles_are_on_the_floor(self, cast: Cast, client_of: Browser) -> None:
        assert client_of(cast.inspector).get("/units/").status_code == 200

    def test_tells_programs_in_their_own_way(self, keeper: Person, client_of: Browser) -> None:
        answer = client_of(keeper).get("/people/", HTTP_ACCEPT="application/json")
        assert (answer.status_code, answer.json()["code"]) == (403, "second_factor_needed")
        fragment = client_of(keeper).get("/people/", HTTP_HX_REQUEST="true")
        assert fragment["HX-Redirect"] == "/account/second-factor/"


@pytest.mark.django_db
def test_logs_who_signed_in_and_out(keeper: Person, client: Client, caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level("INFO", logger="qcapp.people"):
        by_password(client, keeper)
        client.post("/sign-out/")
    assert [record.getMessage() for record in caplog.records if record.name == "qcapp.people"] == [
        f"signed in: badge {keeper.badge}",
        f"signed out: badge {keeper.badge}",
    ]
    assert PASSWORD not in caplog.text
