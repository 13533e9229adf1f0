"""The tablet's storage when it fails: power cut, full, handle closed, a newer version of it, an address without it."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID
from django.utils import timezone

from . import page_scripts
from .conftest import CHROMIUM, Shop, Tablet
from .test_beside_in_browser import picture, take
from .test_faults import ENTRIES, assert_once_each, at_work, enter_all, kill, start, until_sent
from .wire import Wire

if TYPE_CHECKING:
    from playwright.sync_api import Playwright

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
Tablets = Callable[..., Tablet]
HERE = Path(__file__).parent


@pytest.fixture(autouse=True)
def data_folder(settings: Any, tmp_path: Path) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


class TestPowerCut:
    """A library in the browser keeps a copy of each file as of its last flush; after the cut only that is left."""

    @pytest.mark.skipif(shutil.which("cc") is None, reason="no C compiler")
    def test_leaves_every_acknowledged_entry_and_takes_what_was_only_written(
        self, playwright: Playwright, shop: Shop, tmp_path: Path
    ) -> None:
        library = tmp_path / "power_cut.so"
        command = ["cc", "-shared", "-fPIC", "-O1", "-o", str(library), str(HERE / "power_cut.c"), "-ldl"]
        subprocess.run(command, check=True, timeout=60)
        kept = tmp_path / "kept"
        told = {"LD_PRELOAD": str(library), "KEPT_FROM": str(tmp_path / "profile"), "KEPT_TO": str(kept)}
        one = at_work(start(playwright, shop, tmp_path, env=os.environ | told).open())
        one.context.set_offline(True)
        enter_all(one)
        one.until_on_tablet(len(ENTRIES))
        one.page.evaluate(page_scripts.MARK_RELAXED)
        kill(one, tmp_path)
        store = Path("Default", "IndexedDB")
        shutil.rmtree(tmp_path / "profile" / store)
        shutil.copytree(kept / store, tmp_path / "profile" / store)

        again = start(playwright, shop, tmp_path)
        again.context.set_offline(True)
        again.open()
        again.until_on_tablet(len(ENTRIES))
        assert again.page.evaluate(page_scripts.MARKED) is None  # the model bites: what was not flushed is gone
        again.context.set_offline(False)
        until_sent(again, 30)
        assert_once_each(shop)
        again.context.close()


class TestHandle:
    def test_opens_the_store_again_when_the_browser_has_closed_it(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("pores")
        one.page.evaluate(page_scripts.CLOSE_THE_HANDLE)
        one.enter("2")
        one.until_sent()
        assert_once_each(shop, {"pores": "2"})

    def test_makes_way_for_a_newer_store_and_goes_on_in_it(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet().at("pores")
        other = one.context.new_page()
        other.goto(f"{one.address}/sw.js")
        assert other.evaluate(page_scripts.NEWER_STORE) == 3
        one.enter("2")
        one.until_sent()
        assert_once_each(shop, {"pores": "2"})


class TestFull:
    def test_says_that_a_photo_is_not_saved_and_goes_on_taking_results_when_there_is_room(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        one = at_work(tablet())
        one.context.set_offline(True)
        one.page.evaluate(page_scripts.BREAK_THE_STORE)
        take(one, picture())
        one.page.click("#keep-photo")
        one.until("/Not saved/.test(document.querySelector('dialog[open]')?.innerText ?? '')")
        one.page.get_by_role("button", name="Understood").click()
        assert one.page.locator(".thumb").count() == 0
        one.page.evaluate("() => window.heal()")
        one.at("pores").enter("2")
        one.context.set_offline(False)
        until_sent(one)
        assert_once_each(shop, {"pores": "2"})

    def test_loses_nothing_when_the_browser_has_no_room_left_and_says_what_to_do(
        self, tablet: Tablets, shop: Shop
    ) -> None:
        one = at_work(tablet())
        one.context.set_offline(True)
        one.at("pores").enter("2")
        one.until_on_tablet(1)
        # Imitated in the page: this Chromium leaves the debugger's own small quota out of account.
        one.page.evaluate(page_scripts.FILL_THE_STORE)
        take(one, picture())
        one.page.click("#keep-photo")
        one.until(
            "/storage is full; what it has kept stays/.test(document.querySelector('dialog[open]')?.innerText ?? '')"
        )
        one.page.get_by_role("button", name="Understood").click()
        one.page.reload()
        one.page.wait_for_selector("#question")
        one.until_on_tablet(1)
        one.at("pores")
        take(one, picture())
        one.page.click("#keep-photo")
        one.until_on_tablet(2)
        one.context.set_offline(False)
        until_sent(one)
        assert_once_each(shop, {"pores": "2"})

    def test_keeps_a_value_in_its_field_when_there_is_no_room_for_the_entry(self, tablet: Tablets, shop: Shop) -> None:
        one = at_work(tablet())
        one.context.set_offline(True)
        one.at("pores").enter("2")
        one.until_on_tablet(1)
        one.page.evaluate(page_scripts.FILL_THE_STORE)
        one.at("heat").enter("7L0031")
        one.until("/NOT SAVED.*storage is full/.test(document.querySelector('#typing-error')?.innerText ?? '')")
        assert one.page.input_value("input#value") == "7L0031"
        one.until_foot("On tablet 1")
        one.page.evaluate("() => window.heal()")
        one.page.press("input#value", "Enter")
        one.until_on_tablet(2)
        one.context.set_offline(False)
        until_sent(one)
        assert_once_each(shop, {"pores": "2", "heat": "7L0031"})


class TestAddress:
    def test_says_that_nothing_works_without_network_where_the_address_is_not_https(
        self, playwright: Playwright, shop: Shop
    ) -> None:
        rule = "--host-resolver-rules=MAP testserver 127.0.0.1"
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=[*CHROMIUM, rule])
        address = shop.address.replace("127.0.0.1", "testserver").replace("localhost", "testserver")
        one = Tablet(browser.new_context(), shop, address).sign_in().open("/floor/")
        one.until("/not HTTPS/.test(document.querySelector('#along').innerText)")
        assert one.page.locator("#take").is_hidden()
        browser.close()

    def test_takes_nothing_along_under_a_certificate_that_it_does_not_trust(
        self, browser: Any, shop: Shop, tmp_path: Path
    ) -> None:
        wire = Wire(shop.address)
        wire.encrypt(self_signed(tmp_path))
        context = browser.new_context(ignore_https_errors=True)  # as somebody does who taps the warning away
        one = Tablet(context, shop, wire.address).sign_in().open("/floor/")
        one.until("/did not take the pages along/.test(document.querySelector('#along').innerText)")
        assert one.page.locator("#take").is_hidden()
        context.close()
        wire.close()

    def test_says_that_a_private_window_promises_nothing(self, tablet: Tablets, shop: Shop) -> None:
        one = tablet(path="/floor/")  # a context of Playwright is one: it forgets everything when it is closed
        one.until("/does not promise to keep its storage/.test(document.querySelector('#along').innerText)")


def self_signed(folder: Path) -> str:
    """A key and a certificate of one's own for 127.0.0.1, in one file."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "127.0.0.1")])
    now = timezone.now()
    made = x509.CertificateBuilder().subject_name(name).issuer_name(name).public_key(key.public_key())
    made = made.serial_number(1).not_valid_before(now - timedelta(1)).not_valid_after(now + timedelta(1))
    certificate = made.sign(key, SHA256()).public_bytes(Encoding.PEM)
    path = folder / "own.pem"
    path.write_bytes(key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()) + certificate)
    return str(path)
