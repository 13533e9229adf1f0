"""The bench page in Chromium against the real server, for `manage.py benchmark --floor`.

From Enter to the verdict with the CPU slowed four times, the cold start without network, what the page weighs, and how
long a shift's backlog takes to be sent.
"""

from __future__ import annotations

import base64
import io
import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import urlsplit

import numpy as np
from django.conf import settings
from django.core.management.base import CommandError
from PIL import Image

from qcapp.people.roles import Role
from qcapp.production.queries import UnitCard

from .dataset import RESULTS, SEED, Shop
from .main_path import submission_body
from .page_scripts import BACKLOG, PAINTED, SHOWN, SYNCED, WATCH
from .real_server import RealServer, session_of
from .registry import Effort, Measurement

if TYPE_CHECKING:
    from playwright.sync_api import BrowserContext, Page

SLOWED = 4  # times, as Chromium's own emulation does it
READINGS, PHOTOS, PHOTO_SIZE = 60, 5, (1600, 1200)
FIRST = 9500  # running number of the first frame
MOST_MS, MOST_COLD, MOST_WEIGHT, MOST_SCRIPT, MOST_SYNC = 50, 1000, 150_000, 40_000, 1000
CHROMIUM = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update"]


def in_the_browser(shop: Shop, kind: str, effort: Effort) -> Iterator[Measurement]:
    """Everything that is measured in the browser."""
    frames = shop.open_frames(FIRST, 4)
    inspector = shop.person(Role.INSPECTOR)
    with tempfile.TemporaryDirectory(prefix="qcapp-profile-", ignore_cleanup_errors=True) as profile:
        with RealServer() as server, browser_at(profile) as context:
            address = server.address
            session = {"name": settings.SESSION_COOKIE_NAME, "value": session_of(inspector), "url": address}
            context.add_cookies([session])  # type: ignore[list-item]
            page = context.pages[0]
            page.set_default_timeout(60_000)
            yield from weights(page, address, frames[0].serial)
            yield verdicts(page, address, frames[1], effort.of(READINGS))
            body = submission_body(shop, frames[2], inspector)
            yield backlog(page, address, frames[2], body, inspector.badge, kind)
            take_along(page, address, frames[3].serial)
        yield cold_start(profile, f"{address}/units/{frames[3].serial}/bench/")


@contextmanager
def browser_at(profile: str) -> Iterator[BrowserContext]:
    """Chromium with its profile in this folder. Raises CommandError without Playwright."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError as error:
        raise CommandError("The floor's pages are measured with Playwright: bash .ci/setup test") from error
    # Playwright's event loop runs in this thread, and Django would refuse its queries in it.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as play:
        context = play.chromium.launch_persistent_context(
            profile, executable_path="/usr/bin/chromium", args=CHROMIUM, viewport={"width": 1180, "height": 820}
        )
        try:
            yield context
        finally:
            context.close()


# -------------------------------------------------------------------------------------------------------- weight


def weights(page: Page, address: str, serial: str) -> Iterator[Measurement]:
    """What a first visit costs on the wire: as it came by plain HTTP (gzip), and the scripts as HTTPS has them."""
    line = page.context.new_cdp_session(page)
    line.send("Network.enable")
    arrived: dict[str, int] = {}
    scripts: list[str] = []

    def note(event: dict[str, Any]) -> None:
        arrived[event["requestId"]] = int(event["encodedDataLength"])

    def see(event: dict[str, Any]) -> None:
        if event["type"] == "Script":
            scripts.append(urlsplit(event["response"]["url"]).path)

    line.on("Network.loadingFinished", note)
    line.on("Network.responseReceived", see)
    page.goto(f"{address}/units/{serial}/bench/")
    page.wait_for_selector("#question")
    page.wait_for_load_state("networkidle")
    line.detach()
    yield limit_of("page weight, first visit, unit included", sum(arrived.values()), "bytes", MOST_WEIGHT, "by gzip")
    own = sum(_by_brotli(path) for path in scripts)
    yield limit_of("own JavaScript of the bench", own, "bytes", MOST_SCRIPT, "by Brotli, as sent over HTTPS")


def _by_brotli(path: str) -> int:
    return (Path(settings.STATIC_ROOT) / (path.removeprefix(settings.STATIC_URL) + ".br")).stat().st_size


def limit_of(name: str, value: float, unit: str, most: float, against: str = "") -> Measurement:
    """A measurement with a limit of its own and nothing beside it."""
    return Measurement(name, value, unit, None, None, f"below {most} {unit}", value < most, against)


# -------------------------------------------------------------------------------------------------------- verdict


def verdicts(page: Page, address: str, frame: UnitCard, count: int) -> Measurement:
    """The p95 from Enter to the painted verdict, with the CPU slowed and everything saved and sent meanwhile."""
    stages = _measured_by_stage(page, address, frame.serial)
    line = page.context.new_cdp_session(page)
    line.send("Emulation.setCPUThrottlingRate", {"rate": SLOWED})
    page.evaluate(WATCH)
    left = count
    for keys in stages:
        for key, value in keys[:left]:
            _enter(page, key, value)
        left -= len(keys[:left])
    took = page.evaluate("() => window.took")
    line.send("Emulation.setCPUThrottlingRate", {"rate": 1})
    p95 = float(np.quantile(took, 0.95))
    against = f"{len(took)} readings, median {float(np.median(took)):.0f} ms, longest {max(took):.0f} ms"
    return limit_of(f"Enter to verdict painted, p95, CPU slowed {SLOWED}×", p95, "ms", MOST_MS, against)


def _measured_by_stage(page: Page, address: str, serial: str) -> list[list[tuple[str, str]]]:
    """The stages' checkpoints that a number is typed at, each with a value that is in band."""
    unit = page.context.request.get(f"{address}/api/v1/units/{serial}/bench").json()
    page.goto(f"{address}/units/{serial}/bench/")
    page.wait_for_selector("#question")
    found: dict[int, list[tuple[str, str]]] = {}
    for c in unit["checkpoints"]:
        if c["kind"] == "measured" and c["due"] and c["readings"] == 1 and not c["setup"] and c["band"]:
            found.setdefault(c["stage"], []).append((c["key"], _inside(c["band"])))
    return list(found.values())


def _inside(band: dict[str, Any]) -> str:
    """Between the limits, or a tenth within the only one: nothing about it is questioned."""
    lower, upper = (None if band[side] is None else float(band[side]) for side in ("lower", "upper"))
    if lower is not None and upper is not None:
        return f"{(lower + upper) / 2:.3f}"
    return f"{(upper or 0) * 0.9:.3f}" if upper is not None else f"{(lower or 0) * 1.1:.3f}"


def _enter(page: Page, key: str, value: str) -> None:
    row = f'#rows [data-key="{key}"]'
    if not page.locator(row).count():
        _to_stage_of(page, key)
    page.click(row)
    page.keyboard.type(value)
    before = page.evaluate("() => window.took.length")
    page.keyboard.press("Enter")
    _pick_gauge(page)
    page.wait_for_selector(".verdict")
    while page.evaluate("() => window.took.length") == before and not page.evaluate("() => window.asked"):
        page.wait_for_timeout(20)
    page.evaluate("() => { window.asked = false; }")


def _to_stage_of(page: Page, key: str) -> None:
    page.goto(f"{page.url.partition('?')[0]}?checkpoint={key}")
    page.wait_for_selector("#question")
    page.evaluate(WATCH)


def _pick_gauge(page: Page) -> None:
    """The question about the gauge in hand comes once a kind; such an Enter is not one that shows a verdict."""
    if page.locator("dialog[open]").count():
        page.evaluate("() => { window.asked = true; }")
        page.locator("dialog[open] .picks button:enabled").first.click()
        page.wait_for_selector("dialog", state="detached")


# ----------------------------------------------------------------------------------------------- sending, starting


def backlog(page: Page, address: str, frame: UnitCard, body: dict[str, Any], badge: str, kind: str) -> Measurement:
    """How long a tablet takes to send a frame's results and photos that it gathered without network."""
    page.goto(f"{address}/units/{frame.serial}/bench/")
    page.wait_for_selector("#question")
    page.context.set_offline(True)
    page.evaluate(BACKLOG, {"operations": body["operations"], "photos": _photos(frame, body), "badge": badge})
    page.context.set_offline(False)
    took = float(page.evaluate(SYNCED))
    against = f"at once on loopback, on {kind}; photos of {PHOTO_SIZE[0]} × {PHOTO_SIZE[1]} pixels"
    return limit_of(f"{RESULTS} results and {PHOTOS} photos sent", took, "ms", MOST_SYNC, against)


def _photos(frame: UnitCard, body: dict[str, Any]) -> list[dict[str, Any]]:
    pick = np.random.default_rng(SEED)
    chosen: Sequence[dict[str, Any]] = body["operations"][:PHOTOS]
    told = ("id", "serial", "checkpoint", "round", "inspection", "recorded_at")
    return [
        {name: one[name] for name in told if name != "id"}
        | {"device": "tablet-bench-2", "name": "a.jpg", "of_result": one["id"], "marks": [[500, 500]], "note": ""}
        | {"jpeg": _jpeg(pick)}
        for one in chosen
    ]


def _jpeg(pick: np.random.Generator) -> str:
    """A picture of a workshop's roughness: soft shapes with grain, some 300 kB."""
    soft = pick.integers(0, 255, (30, 40, 3), dtype=np.uint8)
    large = np.asarray(Image.fromarray(soft).resize(PHOTO_SIZE, Image.Resampling.BICUBIC), dtype=np.int16)
    grain = pick.integers(-12, 12, large.shape, dtype=np.int16)
    written = io.BytesIO()
    Image.fromarray(np.clip(large + grain, 0, 255).astype(np.uint8)).save(written, "JPEG", quality=80)
    return base64.b64encode(written.getvalue()).decode()


def take_along(page: Page, address: str, serial: str) -> None:
    """The pages and the unit lie on the tablet when this returns."""
    page.goto(f"{address}/units/{serial}/bench/")
    page.wait_for_selector("#question")
    while not page.evaluate("() => navigator.serviceWorker.controller !== null"):
        page.wait_for_timeout(50)
    page.reload()
    page.wait_for_selector("#question")
    page.wait_for_load_state("networkidle")


def cold_start(profile: str, address: str) -> Measurement:
    """From opening the address in a browser just started, with no server anywhere, to the question on the page."""
    with browser_at(profile) as context:
        context.set_offline(True)
        context.add_init_script(SHOWN)
        page = context.pages[0]
        page.set_default_timeout(60_000)
        page.goto(address)
        page.wait_for_selector("#question")
        while not (took := page.evaluate(PAINTED)):
            page.wait_for_timeout(20)
    return limit_of("cold start without network", float(took), "ms", MOST_COLD, "a browser just started, no server")
