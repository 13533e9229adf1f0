"""How fast the plan's table answers a key in Chromium, for `manage.py benchmark --plans`.

The draft of CHECKPOINTS rows with every stage shown, on the real server. From the time stamp of a key to the painted
frame that answers it: the cell beside, the cell opened, a letter in it, the cell closed again.
"""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from django.conf import settings

from .floor_page import browser_at
from .own_house import own_house
from .plan_table import CHECKPOINTS, STAGES, draft
from .real_server import RealServer, session_of
from .registry import Effort, Measurement, benchmark

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from qcapp.plans.cards import RevisionCard

MOST_MS = 50
KEYS = ("ArrowDown", "ArrowRight", "ArrowDown", "ArrowLeft", "F2", "7", "Backspace", "Escape")
ROUNDS = 25
# What a key changes is there when its own listeners have run; the next frame paints it, and then the message comes.
WATCH = """
() => {
    window.took = [];
    addEventListener("keydown", (event) => requestAnimationFrame(() => {
        const painted = new MessageChannel();
        painted.port1.onmessage = () => window.took.push(performance.now() - event.timeStamp);
        painted.port2.postMessage(null);
    }), true);
}
"""


@benchmark("plans", name="keys")
def keys(effort: Effort) -> Iterator[Measurement]:
    """The p95 of a key in the table of a draft."""
    with own_house(), tempfile.TemporaryDirectory(prefix="qcapp-profile-", ignore_cleanup_errors=True) as profile:
        card, author = draft(effort.of(CHECKPOINTS, least=STAGES))
        with RealServer() as server, browser_at(profile) as context:
            session = {"name": settings.SESSION_COOKIE_NAME, "value": session_of(author), "url": server.address}
            context.add_cookies([session])  # type: ignore[list-item]
            yield _pressed(context.pages[0], server.address, card, effort)


def _pressed(page: Page, address: str, card: RevisionCard, effort: Effort) -> Measurement:
    page.set_default_timeout(60_000)
    page.goto(f"{address}/plans/{card.uuid}/?stage=all")
    page.locator(".sheet td[tabindex='0']").first.focus()
    page.evaluate(WATCH)
    for count in range(effort.of(ROUNDS) * len(KEYS)):
        page.keyboard.press(KEYS[count % len(KEYS)])
        while page.evaluate("() => window.took.length") <= count:
            page.wait_for_timeout(5)
    took = page.evaluate("() => window.took")
    p95 = float(np.quantile(took, 0.95))
    against = f"{len(took)} keys, median {float(np.median(took)):.0f} ms, longest {max(took):.0f} ms"
    name = "a key in the plan's table answered in the browser, p95"
    return Measurement(name, p95, "ms", goal=f"below {MOST_MS} ms", met=p95 < MOST_MS, against=against)
