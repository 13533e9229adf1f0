"""`manage.py take_pictures`: the documents' pictures, taken from a running demonstration so that they stay true."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any, NamedTuple

from django.core.management.base import BaseCommand, CommandError

from qcapp.config.demonstration.cast import PASSWORD

TABLET, PORTRAIT, DESK = (1180, 820), (820, 1180), (1440, 900)


class Picture(NamedTuple):
    """One picture: file name, who looks, address, size."""

    name: str
    badge: str
    address: str
    size: tuple[int, int]


PICTURES = (
    Picture("floor", "1001", "/floor/", TABLET),
    Picture("bench", "1001", "/units/FR-200-0148/bench/", TABLET),
    Picture("bench-portrait", "1001", "/units/FR-200-0148/bench/", PORTRAIT),
    Picture("bench-out-of-band", "1001", "/units/FR-200-0147/bench/?checkpoint=axle_parallel", TABLET),
    Picture("history", "1013", "/units/FR-200-0131/", DESK),
    Picture("search", "1013", "/units/?q=014", DESK),
    Picture("reports", "1009", "/nonconformances/", DESK),
    Picture("report", "1009", "/nonconformances/NCR-2026-0001/", DESK),
    Picture("release", "1009", "/units/FR-200-0140/release/", DESK),
    Picture("plans", "1009", "/plans/", DESK),
    Picture("gauges", "1010", "/gauges/", DESK),
    Picture("people", "1015", "/people/", DESK),
    Picture("audit", "1015", "/audit/", DESK),
)


class Command(BaseCommand):
    help = "Take the pictures of docs/pictures from a running demonstration (needs Chromium and the test packages)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--address", default="http://localhost:8000", help="where the demonstration is served")
        parser.add_argument("--into", default="docs/pictures", help="folder for the pictures")
        parser.add_argument("--browser", default="/usr/bin/chromium", help="path of Chromium")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            from playwright.sync_api import sync_playwright
        except ImportError as error:
            raise CommandError("The test packages are missing; run: bash .ci/setup test") from error
        folder = Path(options["into"])
        folder.mkdir(parents=True, exist_ok=True)
        with sync_playwright() as play:
            browser = play.chromium.launch(executable_path=options["browser"], args=["--no-sandbox", "--disable-gpu"])
            for picture in PICTURES:
                self._take(browser, picture, options["address"].rstrip("/"), folder)
            browser.close()

    def _take(self, browser: Any, picture: Picture, address: str, folder: Path) -> None:
        width, height = picture.size
        page = browser.new_context(viewport={"width": width, "height": height}).new_page()
        page.goto(f"{address}/sign-in/")
        page.fill("input[name=badge]", picture.badge)
        page.fill("input[type=password]", PASSWORD)
        page.keyboard.press("Enter")
        page.wait_for_load_state("networkidle")
        answer = page.goto(address + picture.address)
        if answer is None or answer.status != 200:
            raise CommandError(
                f"{picture.address} answered {answer.status if answer else 'nothing'}; is the demo fresh?"
            )
        page.wait_for_load_state("networkidle")
        page.screenshot(path=folder / f"{picture.name}.png")
        page.context.close()
        self.stdout.write(f"{picture.name}.png")
