"""No page asks the database more than twenty times, however full the unit is; the API's whole history a few more."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from django.apps import apps
from django.test import Client
from pytest_django.fixtures import DjangoAssertNumQueries

from qcapp.config.demonstration.cast import Cast
from qcapp.people.rights_table import Address, addresses
from qcapp.people.roles import ACTS, Act, Role

from .small_demonstration import BEGUN, CERTIFIED, HELD, play

MOST, MOST_OF_API = 20, 25
PLACEHOLDER = re.compile(r"<(\w+)>")
# What each placeholder stands for, by the address that it stands in; the first that fits.
FILLED: tuple[tuple[str, str, tuple[str, str]], ...] = (
    ("/people/", "uuid", ("people.Person", "uuid")),
    ("/people/", "deputy_id", ("people.Deputy", "pk")),
    ("/gauges/", "number", ("gauges.Gauge", "number")),
    ("/nonconformances/", "number", ("nonconformance.Report", "number")),
    ("/api/v1/reports/", "number", ("nonconformance.Report", "number")),
    ("/certificates/", "number", ("certificates.Certificate", "number")),
    ("/certificates/", "issue", ("certificates.Certificate", "issue")),
    ("/plans/", "uuid", ("plans.PlanRevision", "uuid")),
    ("/check/", "token", ("certificates.Certificate", "token")),
    ("/trends/", "key", ("plans.Characteristic", "key")),
    ("", "family", ("production.PartFamily", "code")),
)
CHOICES = {"serial": (CERTIFIED, HELD, BEGUN), "which": ("individuals",), "name": ("bench",), "row": ("1",)}
SEARCHES = (
    "/units/?q=014",
    "/units/?q=FR",
    "/nonconformances/?state=active",
    "/api/v1/units?q=014",
    "/trends/?q=angle",
)
# Answers that say who is allowed, and nothing else: their pages are asked for by POST only.
NOT_ASKED = {404, 405}


@pytest.fixture
def data_folder(settings: Any, tmp_path: Path) -> Path:
    """The certificates of this run."""
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


@pytest.mark.django_db
def test_asks_the_database_at_most_twenty_times_for_any_page(
    data_folder: Path, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    cast = play(CERTIFIED, HELD, BEGUN)
    walked = 0
    for path, client in pages(cast):
        client.get(path)  # what a process keeps from its first request on is not asked for again
        with django_assert_max_num_queries(MOST_OF_API if path.startswith("/api/") else MOST, info=path):
            status = client.get(path).status_code
        assert status in {200, 204, 302, *NOT_ASKED}, (path, status)
        walked += status == 200
    assert walked > 40


def pages(cast: Cast) -> Iterator[tuple[str, Client]]:
    """Every address that can be looked at, filled in, each with somebody who may look."""
    clients: dict[str, Client] = {}
    for address in addresses():
        badge = looker(cast, address)
        if badge and not address.path.startswith("/sign-out/"):
            client = clients.setdefault(badge, signed_in(cast, badge))
            yield from ((path, client) for path in filled(address))
    manager = clients["1009"]
    yield from ((path, manager) for path in SEARCHES)


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
    if name in CHOICES:
        return CHOICES[name]
    for place, placeholder, (label, field) in FILLED:
        if place in path and placeholder == name:
            found = apps.get_model(label)._base_manager.order_by("pk").values_list(field, flat=True).first()
            return (str(1 if found is None else found),)
    raise AssertionError(f"{path}: say in FILLED what <{name}> stands for.")
