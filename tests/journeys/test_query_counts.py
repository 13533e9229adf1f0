"""No page asks the database more than twenty times, however full the unit is, nor does what the tablet fetches."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.test import Client
from django.utils import timezone
from pytest_django.fixtures import DjangoAssertNumQueries

from qcapp.config.demonstration.cast import Cast
from qcapp.people.models import Person
from qcapp.people.rights_table import Address, addresses
from qcapp.people.roles import ACTS, Act, Role
from qcapp.plans.queries import released_card
from qcapp.plans.services import revise

from .english_left import english_left, english_words, written
from .small_demonstration import BEGUN, CERTIFIED, HELD, play

MOST = 20
PLACEHOLDER = re.compile(r"<(\w+)>")
# What each placeholder stands for, by the address that it stands in; the first that fits.
FILLED: tuple[tuple[str, str, tuple[str, str]], ...] = (
    ("/people/", "uuid", ("people.Person", "uuid")),
    ("/people/", "deputy_id", ("people.Deputy", "pk")),
    ("/gauges/", "number", ("gauges.Gauge", "number")),
    ("/floor/corrections/", "number", ("nonconformance.Report", "number")),
    ("/nonconformances/", "number", ("nonconformance.Report", "number")),
    ("/api/v1/reports/", "number", ("nonconformance.Report", "number")),
    ("/certificates/", "number", ("certificates.Certificate", "number")),
    ("/certificates/", "issue", ("certificates.Certificate", "issue")),
    ("/plans/", "uuid", ("plans.PlanRevision", "uuid")),
    ("/evidence/", "uuid", ("evidence.EvidenceFile", "uuid")),
    ("/plans/", "sheet", ("plans.DrawingSheet", "uuid")),
    ("/check/", "token", ("certificates.Certificate", "token")),
    ("/improvement/actions/", "number", ("improvement.CorrectiveAction", "number")),
    ("/affected/", "number", ("affected.KeptList", "number")),
    ("/improvement/field/", "number", ("improvement.FieldAction", "number")),
    ("/improvement/costs/", "entry_id", ("improvement.CostEntry", "pk")),
    ("/messages/", "message_id", ("shop_messages.Message", "pk")),
    ("/tablets/", "uuid", ("people.Tablet", "uuid")),
    ("/paper/", "uuid", ("inspections.PaperSheet", "uuid")),
    ("/holds/", "uuid", ("production.Hold", "uuid")),
    ("/batches/", "uuid", ("certificates.Batch", "uuid")),
    ("/studies/", "study", ("gauges.Study", "pk")),
    ("/api/v1/deliveries/", "number", ("goods.Delivery", "number")),
    ("/api/v1/lots/", "code", ("production.Lot", "code")),
    ("/welding/", "uuid", ("production.WelderQualification", "uuid")),
    ("/fixtures/", "number", ("production.Fixture", "number")),
    ("/goods/deliveries/", "number", ("goods.Delivery", "number")),
    ("/recall/", "calibration", ("gauges.Calibration", "pk")),
    ("/first-articles/", "article", ("inspections.FirstArticle", "pk")),
    ("/lots/", "code", ("production.Lot", "code")),
    ("/goods/heats/", "number", ("production.Heat", "number")),
    ("/certificates/families/", "code", ("production.PartFamily", "code")),
    ("", "family", ("production.PartFamily", "code")),
)
CHOICES = {
    "serial": (CERTIFIED, HELD, BEGUN),
    "which": ("individuals",),
    "name": ("bench",),
    "row": ("1",),
    "form": ("roll",),
    "picture": ("bench.png",),
    "key": ("head_angle",),
    "stage": ("5",),
    "code": ("de",),
    "month": ("2026-01",),
}
OF_THE_TABLET = {"session", "units", "bench"}
SEARCHES = (
    "/units/?q=014",
    "/units/?q=FR",
    "/nonconformances/?state=active",
    "/api/v1/units?q=014",
    "/trends/?q=angle",
)
# Asked for by POST only; about nothing that is there; about a revision that is no draft.
REFUSED = {405, 404, 400, 409}
# The floor's pages are English as they are kept and say themselves again; documents and papers are English; the audit
# shows what was written, cut short.
OTHER_WORDS = ("/floor/", "/guide/", "/check/", "/audit/")
PLANS_OWN = re.compile(r"^/plans/[0-9a-f-]{36}/(draft/.*)?$|/weld-map/$")  # the words of plans and their files
PUT_TOGETHER = 15  # texts that a page puts together of what plans and people wrote; a page that is not said has more
# Names of standards and their parts, of programs and of files.
NAMES = re.compile(r"\b(ASTM|ISO|EN|AWS|MIL-STD|manage\.py|QCAPP_\w+)\b|\.ics\b")
# What looks at many units at once, or puts a whole file together, may ask more often, however many they are.
MORE = {"/try/": 29, "/decisions/": 30, "/suspects/": 60, ".zip": 60, "/nonconformances/NCR": 26}


@pytest.fixture
def data_folder(settings: Any, tmp_path: Path) -> Path:
    """The certificates of this run."""
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


@pytest.mark.django_db
def test_asks_the_database_at_most_twenty_times_for_any_page_and_says_a_german_one_in_german(
    data_folder: Path, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    """Both in one walk, because the demonstration and its pages are what takes long."""
    cast = play(CERTIFIED, HELD, BEGUN)
    uuid = released_card("FR-200").uuid
    revise(by=cast.people["1010"], revision_uuid=uuid, at=timezone.now(), change_note="next")
    Person.objects.update(language="de")
    walked = 0
    shown: dict[str, str] = {}
    for path, client in pages(cast):
        client.get(path)  # what a process keeps from its first request on is not asked for again
        with django_assert_max_num_queries(most(path), info=path):
            response = client.get(path)
        status = response.status_code
        assert status in {200, 204, 302, *REFUSED}, (path, status)
        walked += status == 200
        if status == 200 and response["Content-Type"].startswith("text/html") and _is_ours(path):
            shown[path] = response.text
    assert walked > 40
    english, data = english_words("de"), written()
    left = {text: path for path, html in shown.items() for text in english_left(html, english, data)}
    left = {text: path for text, path in left.items() if not NAMES.search(text)}
    assert len(left) <= PUT_TOGETHER, left


def _is_ours(path: str) -> bool:
    """Whether the words of a page are the catalogues' to say."""
    return not path.startswith(OTHER_WORDS) and not PLANS_OWN.search(path)


def most(path: str) -> int:
    return next((more for part, more in MORE.items() if part in path), MOST)


def pages(cast: Cast) -> Iterator[tuple[str, Client]]:
    """Every address that can be looked at, filled in, each with somebody who may look."""
    clients: dict[str, Client] = {}
    for address in addresses():
        badge = looker(cast, address)
        if badge and is_page(address):
            client = clients.setdefault(badge, signed_in(cast, badge))
            yield from ((path, client) for path in filled(address))
    manager = clients["1009"]
    yield from ((path, manager) for path in SEARCHES)


def is_page(address: Address) -> bool:
    """Pages, and what the tablet's page fetches; other answers of the API are for programs."""
    return address.name != "sign_out" and (not address.path.startswith("/api/") or address.name in OF_THE_TABLET)


def looker(cast: Cast, address: Address) -> str:
    """The badge of the first person with the right; the quality manager where everybody has it."""
    act = address.acts.get("GET")
    if act is None:
        return ""
    roles = [role for role in (Role.QUALITY_MANAGER, *Role) if not isinstance(act, Act) or role in ACTS[act]]
    return cast.with_role(roles[0]).badge


def signed_in(cast: Cast, badge: str) -> Client:
    client = Client()
    client.force_login(cast.people[badge])
    return client


def filled(address: Address) -> list[str]:
    """The address about things that are there; fails for a placeholder that nobody has said anything about."""
    paths = [address.path]
    for name in PLACEHOLDER.findall(address.path):
        paths = [path.replace(f"<{name}>", value) for path in paths for value in values(address.path, name)]
    return paths


def values(path: str, name: str) -> tuple[str, ...]:
    for place, placeholder, (label, field) in FILLED:
        if place in path and placeholder == name:
            found = list(apps.get_model(label)._base_manager.order_by("pk").values_list(field, flat=True))
            return tuple(str(value) for value in {found[0], found[-1]}) if found else ("1",)
    if name in CHOICES:
        return CHOICES[name]
    raise AssertionError(f"{path}: say in FILLED what <{name}> stands for.")
