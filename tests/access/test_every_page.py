"""Every page that can be opened, looked at as a browser does: axe, 400 % zoom, less motion, names.

The addresses are those of the URL table, so that a page that comes is covered by itself. Somebody with every role
looks, so that whatever a page can hold is there at once. Success criteria: WCAG 2.2 (W3C, 12 December 2024).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import lxml.html
import pytest
from django.db import transaction
from django.test import Client
from django.urls import Resolver404, resolve
from django.utils import timezone

from qcapp.config.demonstration.metrology import WRONG
from qcapp.gauges.models import Calibration, Study
from qcapp.lib import on_tablets
from qcapp.lib.spoken import OTHERS
from qcapp.lib.worded_templates import UNTOUCHED
from qcapp.people.access import PUBLIC
from qcapp.people.rights_table import addresses
from qcapp.people.tablet_guard import COOKIE
from tests.factories.tablets import enrolled
from tests.journeys.test_query_counts import filled, is_page

from .conftest import Shop
from .leftovers import leftovers, words_of, written
from .walk import DESK, Found, Walk
from .world import EVERYTHING

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
MORE = (
    "/units/?q=014", "/nonconformances/?state=active", "/trends/?q=angle", "/guide/guides/inspector/",
    "/units/FR-200-0131/values/head_angle/", "/trends/MG-5/edge_flat/", "/trends/MG-5/edge_flat/decisions/",
)  # fmt: skip
STRANGERS = ("/sign-in/", "/sign-in/code/", "/tablets/enrol/")  # met on a tablet before anybody has signed in
# Pages that look otherwise for a draft, a unit on hold, a report that has not ended; elsewhere the last one is enough.
SEVERAL = {
    "/plans/<uuid>/", "/units/<serial>/", "/units/<serial>/bench/", "/units/<serial>/release/",
    "/nonconformances/<number>/", "/goods/lots/<code>/", "/goods/heats/<number>/", "/floor/corrections/<number>/",
}  # fmt: skip
# What opens to more than its address: a signal, similar reports, a drawn file, who reads a study, another revision.
# Done as soon as they are sent.
NOTHING_TO_ASK = {"people:sign_out", "people:tablet_code", "people:check_audit", "people:temporary_password"}
ASKS_MORE = {
    "improvement:open", "improvement:open_for_signal", "evidence:small", "gauges:read_study", "inspections:adopt_one",
}  # fmt: skip


@pytest.fixture(scope="module")
def found(browser: Browser, shop: Shop) -> Found:
    """All pages walked once, those that are open to everybody before the sign-in; each test looks at one side of it."""
    context = browser.new_context(viewport=DESK, base_url=shop.address, service_workers="block")  # type: ignore[arg-type]
    page = context.new_page()
    walk = Walk(page, context.new_cdp_session(page))
    client = Client()
    client.force_login(shop.cast.people[EVERYTHING])
    for path in pages(client, public=True):
        walk.look_at(path)
    context.add_cookies([shop.cookie_of(EVERYTHING)])
    for path in (*pages(client, public=False), *MORE, *of_gauges()):
        walk.look_at(path)
    walk.look_at("/units/NO-SUCH-0001/", status=404)
    context.close()
    for code in OTHERS:
        in_another_language(walk.found, browser, shop, client, code)
    return walk.found


def in_another_language(found: Found, browser: Browser, shop: Shop, client: Client, code: str) -> None:
    """What is met on a tablet once more in this language, in a browser that has kept nothing of another."""
    person = shop.cast.people[EVERYTHING]
    context = browser.new_context(  # type: ignore[arg-type]
        viewport=DESK, base_url=shop.address, service_workers="block", locale=code
    )
    page = context.new_page()
    walk = Walk(page, context.new_cdp_session(page), found)
    speaking(person, code)
    for path in STRANGERS:
        walk.look_at(path, code=code)
    context.add_cookies([shop.cookie_of(EVERYTHING)])
    for path in (*pages(client, public=False), *of_gauges()):
        if is_met_on_a_tablet(path):
            walk.look_at(path, code=code)
    context.close()
    speaking(person, "en")


def speaking(person: Any, code: str) -> None:
    type(person).objects.filter(pk=person.pk).update(language=code)


def is_met_on_a_tablet(path: str) -> bool:
    name = resolve(path.partition("?")[0]).view_name
    return name in on_tablets.PAGES or name.startswith("capture:")


def pages(client: Client, *, public: bool) -> Iterator[str]:
    """Every address that a person may look at, filled in with what is there; files and the API are left out."""
    for address in addresses():
        act = address.acts.get("GET")
        if act and (act == PUBLIC) == public and is_page(address) and not is_file(address.path):
            paths = sorted(path for path in filled(address) if is_looked_at(client, path))
            yield from paths if address.path in SEVERAL else paths[-1:]


def of_gauges() -> Iterator[str]:
    """Pages about a gauge and what was done with it, which the first of each alone would not fit together."""
    study, wrong = Study.objects.latest("id"), Calibration.objects.filter(gauge__number=WRONG).latest("id")
    yield f"/gauges/{study.gauge.number}/studies/{study.pk}/"
    yield f"/gauges/{study.gauge.number}/studies/{study.pk}/read/"
    yield f"/gauges/{wrong.gauge.number}/recall/{wrong.pk}/"


def is_file(path: str) -> bool:
    """Files by their ending, what programs ask for, and the empty pages that a tablet keeps and fills itself."""
    return "." in path.split("/")[-1] or path.startswith(("/api/", "/floor/shell/", "/floor/words/", "/health/"))


def is_looked_at(client: Client, path: str) -> bool:
    """Whether it is more than an address that a form is sent to: those answer any other method with what they hear."""
    try:
        resolve(path)
    except Resolver404:  # what is filled in is no such thing
        return False
    return "GET" in client.options(path).headers.get("Allow", "GET")


def test_finds_no_violation_by_axe_by_day_and_by_night(found: Found) -> None:
    assert found.wrong["axe"] == []
    assert found.wrong["axe at night"] == []
    assert len(found.seen) > 110
    for code in OTHERS:  # what is met on a tablet in the other languages too
        assert sum(one.startswith(f"{code} ") for one in found.seen) > 30
    assert found.asked - found.heard - ASKS_MORE == set()  # every address showed something


def test_reads_well_in_the_accessibility_tree(found: Found) -> None:
    """Names of all that can be used, headings level by level, one h1, one main part, tables with headers."""
    assert found.wrong["names"] == []
    assert found.wrong["structure"] == []


def test_gives_gloves_large_targets_on_the_floor(found: Found) -> None:
    """56 pixels and more, in every language (design/look.md, Floor)."""
    assert found.wrong["gloves"] == []


def test_scrolls_one_way_at_four_hundred_per_cent(found: Found) -> None:
    """WCAG 2.2, 1.4.10: but for tables and drawings, which scroll in a frame of their own. Nothing is cut off."""
    assert found.wrong["zoom"] == []


def test_moves_nothing_for_whoever_asks_for_less_motion(found: Found) -> None:
    assert found.wrong.get("motion", []) == []


def test_gives_every_page_a_title_of_its_own_and_complains_of_no_script(found: Found) -> None:
    assert {title: paths for title, paths in found.titles.items() if len(paths) > 1} == {}
    assert found.wrong.get("script", []) == []


def test_ties_what_is_wrong_to_its_field_and_says_it(found: Found, shop: Shop) -> None:
    """Every form of every page is sent empty; what comes back says so aloud, at the field. Nothing of it is kept."""
    client = Client()
    client.force_login(shop.cast.people[EVERYTHING])
    refused, silent = 0, []
    for (view, _), (action, hidden) in found.forms.items():
        if view in NOTHING_TO_ASK:
            continue
        undone = transaction.atomic()
        undone._from_testcase = True  # type: ignore[attr-defined]  # blocks that must be outermost may run within
        with undone:
            answer = client.post(action, hidden | {"csrfmiddlewaretoken": "sent"})  # nothing at all is no form
            transaction.set_rollback(True)
        is_page = answer.headers.get("Content-Type", "").startswith("text/html")
        if is_page and answer.status_code in (200, 400, 409):
            refused += 1
            silent.extend(f"{action} {hidden.get('act', '')}: {one}" for one in unheard(answer.content))
    assert silent == []
    assert refused > 40


def unheard(page: bytes) -> Iterator[str]:
    """What the page of a refusal leaves a blind person to find: no alert at all, or a field that does not say why."""
    tree = lxml.html.fromstring(page)
    alerts = {one.get("id") for one in tree.xpath("//*[@role='alert']/descendant-or-self::*")}
    if not alerts and tree.xpath("//form[@method='post']") and not tree.xpath("//h1[@id='refusal']"):
        yield "nothing is said"
    for one in tree.xpath("//*[@aria-invalid='true']"):
        grouped = one.xpath("ancestor::*[contains(@class, 'field')]//*[@role='alert']")  # a box among several
        if not grouped and not alerts & set(one.get("aria-describedby", "").split()):
            yield f"{one.get('name')} does not say what is wrong with it"


@pytest.mark.parametrize("code", OTHERS)
def test_says_nothing_in_english_on_what_is_met_on_a_tablet(shop: Shop, code: str) -> None:
    """Each page is opened and each of its forms sent empty; a shared tablet is refused another. Nothing is kept."""
    known, said = words_of(code), []
    drawn: set[str] = set()
    undone = transaction.atomic()
    undone._from_testcase = True  # type: ignore[attr-defined]  # as above
    with undone:
        values = written()
        for path, answer in met_on_tablets(shop, code):
            if not answer.headers["Content-Type"].startswith("text/html"):  # a file that somebody handed in
                continue
            drawn |= {str(one.name) for one in answer.templates if one.name}
            said += [(path, *one) for one in leftovers(answer.content, known, values)]
        transaction.set_rollback(True)
    assert said == []
    of_pages = {name for name in drawn if not name.startswith(("django/", *UNTOUCHED))}
    assert of_pages - on_tablets.TEMPLATES == set()
    assert len(of_pages) > 20


def met_on_tablets(shop: Shop, code: str) -> Iterator[tuple[str, Any]]:
    """The pages in this language, as drawn for a stranger, for somebody with every role, and on a shared tablet."""
    person, asking = shop.cast.people[EVERYTHING], {"headers": {"accept-language": code}}
    speaking(person, code)
    client = Client()
    for path in STRANGERS:
        yield path, client.get(path, **asking)
    yield "/sign-in/", client.post("/sign-in/", {"badge": "1001", "password": "wrong"}, **asking)
    client.force_login(person)
    for path in (*pages(client, public=False), *of_gauges()):
        if is_met_on_a_tablet(path):
            answer = client.get(path)
            yield path, answer
            if b"<form" in answer.content:
                yield from ((path, answer) for answer in empty_answers(client, path, answer.content))
    _, client.cookies[COOKIE] = enrolled(shop.cast.people["1015"], timezone.now(), "Bench 8")
    yield "/goods/ on a tablet", client.get("/goods/")
    yield "/plans/ on a tablet", client.get("/plans/")


def empty_answers(client: Client, path: str, page: bytes) -> Iterator[Any]:
    """What comes back when each form of a page is sent with nothing but what it holds hidden."""
    for form in lxml.html.fromstring(page).forms:
        hidden = {one.name: one.value for one in form.xpath(".//input[@type='hidden']")}
        action = form.get("action") or path
        if form.method == "POST" and resolve(action.partition("?")[0]).view_name not in NOTHING_TO_ASK:
            answer = client.post(action, hidden)
            if answer.headers.get("Content-Type", "").startswith("text/html") and answer.status_code in (200, 400, 409):
                yield answer
