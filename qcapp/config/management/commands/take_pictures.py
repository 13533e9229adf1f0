"""`manage.py take_pictures`: the documents' pictures, taken from a running demonstration so that they stay true."""

from __future__ import annotations

import io
from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NamedTuple

from django.core.management.base import BaseCommand, CommandError
from PIL import Image

from qcapp.config.demonstration.cast import PASSWORD
from qcapp.lib.pdf_pages import page_pictures

TABLET, PORTRAIT, DESK = (1180, 820), (820, 1180), (1440, 900)
PAPER = (1000, 1414)
COLOURS = 128  # of a picture: screens hold few, and the files stay a third as large
LAID_OUT = 180_000  # milliseconds, for a paper that is laid out anew


class Picture(NamedTuple):
    """One picture: file name, who looks (nobody: a stranger), address, size, and what is tapped on the way there.

    `taps` are Playwright's selectors; `by_stranger` looks at the last page again without signing in.
    """

    name: str
    badge: str
    address: str
    size: tuple[int, int]
    taps: tuple[str, ...] = ()
    by_stranger: bool = False


PICTURES = (
    Picture("floor", "1001", "/floor/", TABLET),
    Picture("bench", "1001", "/units/FR-200-0147/bench/?checkpoint=diagonal_left", TABLET),
    Picture("bench-portrait", "1001", "/units/FR-200-0147/bench/?checkpoint=diagonal_left", PORTRAIT),
    Picture("bench-out-of-band", "1001", "/units/FR-200-0147/bench/?checkpoint=axle_parallel", TABLET),
    Picture("second-inspection", "1002", "/units/HT-6-0123/bench/?checkpoint=seam_w1", TABLET),
    Picture("weld", "1005", "/units/FR-200-0149/weld/", TABLET),
    Picture("correction", "1005", "/floor/corrections/", TABLET, (".unit-list a",)),
    Picture("lot-grid", "1008", "/floor/lots/TK-200-L0004/", TABLET),
    Picture("goods", "1008", "/goods/", DESK),
    Picture("heat", "1008", "/goods/heats/Q7715/", DESK),
    Picture("history", "1013", "/units/FR-200-0131/", DESK),
    Picture("search", "1013", "/units/?q=014", DESK),
    Picture("reports", "1009", "/nonconformances/", DESK),
    Picture("report", "1009", "/nonconformances/NCR-2026-0001/", DESK),
    Picture("release", "1009", "/units/FR-200-0140/release/", DESK),
    Picture("plans", "1009", "/plans/", DESK),
    Picture(
        "units-in-build", "1011", "/plans/", DESK, ('tr:has-text("HT-6") >> text=revision B', "text=Units in build")
    ),
    Picture("welding", "1012", "/welding/", DESK),
    Picture("qualification", "1012", "/welding/", DESK, ("a:text-is('Confirm')",)),
    Picture("weld-map", "1012", "/units/FR-200-0140/weld-map/", DESK),
    Picture("gauges", "1010", "/gauges/", DESK),
    Picture("gauges-due", "1010", "/gauges/due/", DESK),
    Picture("gauge", "1010", "/gauges/HG-07/", DESK),
    Picture("recall", "1010", "/gauges/HG-07/", DESK, ("text=What it has measured since",)),
    Picture("gauge-study", "1010", "/gauges/AN-03/", DESK, ("text=501 head angle to base plane",)),
    Picture("dispatch", "1014", "/units/FT-14-0093/dispatch/", DESK),
    Picture("check", "1013", "/units/FR-200-0139/release/", PORTRAIT, ("text=Check page",), by_stranger=True),
    Picture("check-file", "", "/check/", PORTRAIT),
    Picture("people", "1015", "/people/", DESK),
    Picture("audit", "1015", "/audit/", DESK),
    Picture("system", "1015", "/system/", DESK),
)
PAPERS = (Picture("certificate", "1013", "/certificates/FR-2026-0003/1.pdf", PAPER),)


class Command(BaseCommand):
    help = "Take the pictures of docs/pictures from a running demonstration (needs Chromium and the test packages)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("names", nargs="*", help="only these pictures, such as: bench weld")
        parser.add_argument("--address", default="http://localhost:8000", help="where the demonstration is served")
        parser.add_argument("--into", default="docs/pictures", help="folder for the pictures")
        parser.add_argument("--browser", default="/usr/bin/chromium", help="path of Chromium")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            from playwright.sync_api import sync_playwright
        except ImportError as error:
            raise CommandError("The test packages are missing; run: bash .ci/setup test") from error
        self.address, self.folder = options["address"].rstrip("/"), Path(options["into"])
        self.folder.mkdir(parents=True, exist_ok=True)
        self.sessions: dict[str, Any] = {}
        wanted = set(options["names"]) or {one.name for one in (*PICTURES, *PAPERS)}
        with sync_playwright() as play:
            self.browser = play.chromium.launch(
                executable_path=options["browser"], args=["--no-sandbox", "--disable-gpu"]
            )
            for picture in (one for one in PICTURES if one.name in wanted):
                self._keep(picture, self._page(picture))
            for picture in (one for one in PAPERS if one.name in wanted):
                self._keep(picture, self._paper(picture))
            self.browser.close()

    def _page(self, picture: Picture) -> bytes:
        page = self._signed_in(picture)
        answer = page.goto(self.address + picture.address)
        self._expect(picture, answer.status if answer else 0)
        page.wait_for_load_state("networkidle")
        for tapped in picture.taps:
            page.locator(tapped).first.click()
            page.wait_for_load_state("networkidle")
        if picture.by_stranger:
            page = self._again(picture, page)
        content: bytes = page.screenshot()
        page.context.close()
        return content

    def _paper(self, picture: Picture) -> bytes:
        """The first page of a PDF."""
        page = self._signed_in(picture)
        answer = page.request.get(self.address + picture.address, timeout=LAID_OUT)
        self._expect(picture, answer.status)
        (drawn,) = page_pictures(answer.body(), [1], longest_edge=picture.size[1])
        page.context.close()
        return drawn.content

    def _signed_in(self, picture: Picture) -> Any:
        """A page of the person, who signs in once; a stranger's where there is none."""
        width, height = picture.size
        known = self.sessions.get(picture.badge)
        context = self.browser.new_context(viewport={"width": width, "height": height}, storage_state=known)
        page = context.new_page()
        if picture.badge and known is None:
            page.goto(f"{self.address}/sign-in/")
            page.fill("input[name=badge]", picture.badge)
            page.fill("input[type=password]", PASSWORD)
            page.keyboard.press("Enter")
            page.wait_for_url(lambda url: "/sign-in/" not in url)
            self.sessions[picture.badge] = context.storage_state()
        return page

    def _again(self, picture: Picture, page: Any) -> Any:
        address = page.url
        page.context.close()
        stranger = self._signed_in(picture._replace(badge=""))
        stranger.goto(address)
        stranger.wait_for_load_state("networkidle")
        return stranger

    def _expect(self, picture: Picture, status: int) -> None:
        if status != 200:
            message = f"{picture.address} answered {status or 'nothing'}; is the demonstration fresh?"
            raise CommandError(message)

    def _keep(self, picture: Picture, content: bytes) -> None:
        drawn = Image.open(io.BytesIO(content)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
        drawn.save(self.folder / f"{picture.name}.png", optimize=True)
        self.stdout.write(f"{picture.name}.png")
