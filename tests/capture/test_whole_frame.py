"""A whole frame at the bench: 160 checkpoints, two out of band, one photo, three signatures, a third without network.

Once with nothing but a keyboard, once with nothing but fingers. What the server holds is compared with what was said.
"""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any

import pytest
from django.utils import timezone
from PIL import Image

from qcapp.config.demonstration.cast import PIN
from qcapp.inspections import services as inspections
from qcapp.inspections.queries import inspection_of
from qcapp.inspections.queries.beside import photos_of
from qcapp.people.services import demonstration_proof
from qcapp.plans import services as plans
from qcapp.production.services import add_family

from .conftest import Shop, Tablet

pytestmark = [pytest.mark.browser, pytest.mark.both_databases, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]
STAGES = {1: ("Tack-up", 53), 2: ("Alignment", 54), 3: ("Finish", 53)}
OUT = {311: "20.7", 340: "19.2"}
PHOTO_AT = 205
HEAD = (
    "stage_number,stage_name,number,key,title,kind,nominal,limits,unit_of_measure,decimals,criticality,"
    "gauge_kinds,photo"
)


def is_attribute(number: int) -> bool:
    return number % 6 == 0


def value_at(number: int) -> str:
    return OUT.get(number, ("20", "20.1", "19.9")[number % 3])


def numbers(stage: int) -> list[int]:
    return [stage * 100 + 1 + n for n in range(STAGES[stage][1])]


def plan_text() -> str:
    rows = [HEAD]
    for stage, (name, _) in STAGES.items():
        for n in numbers(stage):
            how = "attribute,,,,,minor,," if is_attribute(n) else "measured,20,±0.5,mm,1,minor,caliper,"
            rows.append(f"{stage},{name},{n},c{n},Place {n},{how}{'yes' if n == PHOTO_AT else ''}")
    return "\n".join(rows)


@pytest.fixture
def data_folder(settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


def make_plan(shop: Shop) -> None:
    now = timezone.now()
    author, releaser = shop.people["1010"], shop.people["1009"]
    told = {"name": "whole frame", "serial_pattern": "WF-1-{number:4}", "certificate_prefix": "WF"}
    add_family(by=author, code="WF-1", at=now, **told)
    card = plans.import_plan(
        by=author, family_code="WF-1", letter="A", text_or_bytes=plan_text().encode(), filename="wf.csv", at=now
    )
    plans.send_for_review(by=author, revision_uuid=card.uuid, at=now)
    plans.release(proof=demonstration_proof(releaser, now), revision_uuid=card.uuid, at=now)


@pytest.fixture
def frame(shop: Shop, data_folder: None) -> str:
    """The serial of a new frame of 160 checkpoints."""
    from qcapp.production.models import PartFamily, Unit

    if not PartFamily.objects.filter(code="WF-1").exists():
        make_plan(shop)
    serial = f"WF-1-{Unit.objects.filter(serial__startswith='WF-1').count() + 1:04}"
    told = {"order_number": "", "variant": "", "at": timezone.now()}
    inspections.open_unit(by=shop.people["1001"], family_code="WF-1", serial=serial, **told)
    return serial


def picture() -> dict[str, Any]:
    written = io.BytesIO()
    Image.effect_noise((400, 300), 40).convert("RGB").save(written, "JPEG")
    return {"name": "a.jpg", "mimeType": "image/jpeg", "buffer": written.getvalue()}


class Keyboard:
    """Types; never touches."""

    def __init__(self, one: Tablet) -> None:
        self.one, self.page = one, one.page

    def focus(self, selector: str) -> None:
        """Tab until it has the focus, as a person does."""
        for _ in range(60):
            if self.page.evaluate("(s) => document.activeElement?.matches(s) ?? false", selector):
                return
            self.page.keyboard.press("Tab")
        raise AssertionError(f"{selector} is not reached by Tab")

    def press(self, selector: str) -> None:
        self.page.wait_for_selector(selector)
        self.page.wait_for_timeout(410)  # an Enter within 0.4 s of the last entry counts as its slip
        self.focus(selector)
        self.page.keyboard.press("Enter")

    def value(self, text: str) -> None:
        self.page.keyboard.type(text)
        self.page.keyboard.press("Enter")

    def gauge(self) -> None:
        self.page.keyboard.press("Enter")

    def pin(self) -> None:
        self.page.keyboard.type(PIN)
        self.page.keyboard.press("Enter")


class Fingers(Keyboard):
    """Taps; never types."""

    def press(self, selector: str) -> None:
        self.page.wait_for_selector(selector)
        self.page.wait_for_timeout(410)
        self.page.tap(selector)

    def value(self, text: str) -> None:
        self._keys(text)
        self.page.tap(".entry .keys .enter")

    def gauge(self) -> None:
        self.page.tap("dialog .picks button:enabled >> nth=0")

    def pin(self) -> None:
        self._keys(PIN, "dialog ")
        self.page.tap("dialog .keys .enter")

    def _keys(self, text: str, inside: str = ".entry ") -> None:
        for key in text:
            self.page.tap(f'{inside}.keys button:text-is("{key}")')


def inspect(one: Tablet, hand: Keyboard, stage: int) -> None:
    """Answer every checkpoint of a stage, one after the other, as the page leads."""
    for n in numbers(stage):
        one.until(f"document.querySelector('#question').innerText === 'Place {n}'")
        if is_attribute(n):
            hand.press(".answer.in")
        else:
            hand.value(value_at(n))
            if n == numbers(1)[0]:
                one.page.wait_for_selector("dialog[open]")
                hand.gauge()
        one.page.wait_for_selector(".verdict")
        if n == PHOTO_AT:
            photograph(one, hand)
        if n != numbers(stage)[-1]:
            hand.press("#next")


def photograph(one: Tablet, hand: Keyboard) -> None:
    with one.page.expect_file_chooser() as chooser:
        hand.press("#photo")
    chooser.value.set_files([picture()])
    hand.press("#keep-photo")
    one.page.wait_for_selector(".thumb img")


def sign(one: Tablet, hand: Keyboard, stage: int) -> None:
    one.until_sent()
    hand.press("#sign")
    one.page.wait_for_selector("dialog[open] .pin-dots")
    hand.pin()
    one.page.wait_for_selector("dialog", state="detached")
    one.until("/is signed|This was the last/.test(document.querySelector('#stage-end')?.innerText ?? '')")
    if stage < max(STAGES):
        hand.press("#stage-end button")


@pytest.mark.parametrize("kind", [Keyboard, Fingers], ids=["keyboard", "touch"])
def test_takes_a_whole_frame_with_the_network_gone_for_the_middle_third(
    tablet: Tablets, shop: Shop, frame: str, kind: type[Keyboard]
) -> None:
    one = tablet(path=f"/units/{frame}/bench/", has_touch=kind is Fingers)
    one.until("navigator.serviceWorker.controller !== null")
    hand = kind(one)
    inspect(one, hand, 1)
    sign(one, hand, 1)
    one.context.set_offline(True)
    inspect(one, hand, 2)
    one.until("/On tablet 5[45]/.test(document.querySelector('#foot').innerText)")
    one.context.set_offline(False)
    sign(one, hand, 2)
    inspect(one, hand, 3)
    sign(one, hand, 3)
    assert_holds_what_was_entered(frame)


def assert_holds_what_was_entered(frame: str) -> None:
    view = inspection_of(frame)
    answers = {c.card.number: c.counts for c in view.checkpoints}
    assert len(answers) == 160
    for n, answer in answers.items():
        assert answer is not None
        wanted = {"conforms": True} if is_attribute(n) else {"value": value_at(n)}
        assert (answer.answer, answer.flags) == (wanted, ()), n
    assert {n for n, answer in answers.items() if answer and not answer.passes} == set(OUT)
    assert [stage.state.value for stage in view.stages] == ["signed"] * 3
    assert [photo.number for photo in photos_of(view.unit.item_id)] == [PHOTO_AT]
