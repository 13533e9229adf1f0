"""Every number that the floor promises: `manage.py benchmark --floor`, on the configured kind of database."""

from __future__ import annotations

from collections.abc import Iterator

from django.utils import timezone

from .dataset import Shop
from .floor_load import shift
from .floor_page import in_the_browser
from .floor_switch import switching
from .main_path import submission
from .own_house import own_house
from .registry import Effort, Measurement, benchmark

SHARED = 9450  # running number of the frame at the shared tablet


@benchmark("floor", name="floor")
def floor(effort: Effort) -> Iterator[Measurement]:
    """The page in the browser, a submission against the bare insert, and a shift of thirty tablets."""
    with own_house() as kind:
        shop = Shop.made(timezone.now())
        yield from in_the_browser(shop, kind, effort)
        yield switching(shop, shop.open_frames(SHARED, 1)[0], effort)
        yield submission(shop, effort, kind)
        yield from shift(shop, kind, effort)
