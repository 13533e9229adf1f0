"""Speed of certificates: `manage.py benchmark --certificate`.

A whole one (freeze, page, layout, embedded files, signature, kept file) against the layout library alone on the same
page with the same options; the check of a signed file; and how much faster two processes issue than one.
"""

from __future__ import annotations

import multiprocessing
import multiprocessing.synchronize
import statistics
import time
from collections.abc import Generator, Iterator, Sequence
from datetime import timedelta
from typing import TYPE_CHECKING

from django.core.management.base import CommandError
from django.db import connections
from django.utils import timezone

from qcapp.certificates.queries import CertificateCard
from qcapp.certificates.services.checking import Answer, check_pdf
from qcapp.certificates.services.issuing import issue_certificate
from qcapp.certificates.services.keys import make_key
from qcapp.certificates.services.rendering import pdf_bytes
from qcapp.config.demonstration.player import UnitPlayer
from qcapp.config.demonstration.stories import Story
from qcapp.lib.pdf import WORKER
from qcapp.people.roles import Role

from .dataset import FAMILY, Shop
from .main_path import MOST_TIMES_LAYOUT, bare_layout, check_same_paper, layout_job
from .own_house import own_house
from .registry import Effort, Measurement, benchmark

if TYPE_CHECKING:
    from qcapp.people.models import Person

FIRST = 9100  # running number of the first frame that is issued for
BATCH = 4  # frames for each process
MOST_CHECK, LEAST_TWO_CORES = 150, 1.5  # milliseconds, times the rate


@benchmark("certificate", name="certificate")
def certificate(effort: Effort) -> Iterator[Measurement]:
    """A whole certificate, its check, and the rate of two processes."""
    with own_house():
        shop = Shop.made(timezone.now())
        make_key(at=shop.now - timedelta(days=90), years=10)
        each = effort.of(BATCH, least=1)
        serials = [_released(shop, FIRST + place) for place in range(3 * each + 1)]
        by = shop.person(Role.QUALITY_MANAGER)
        cards = yield from _whole(by, serials[0], effort)
        yield _check(cards[-1], effort)
        yield _two_cores(by, serials[1:], each)


def _released(shop: Shop, number: int) -> str:
    story = Story(FAMILY, number, 40, order="S-1", issues=0)
    UnitPlayer(story, shop.cast, shop.now, shop.now).play()
    return story.serial


def _whole(by: Person, serial: str, effort: Effort) -> Generator[Measurement, None, list[CertificateCard]]:
    """Issue and kept file against the bare layout, in turn; one turn to warm up. Gives the cards."""
    ours, bare, cards = [], [], []
    with bare_layout() as lay_out:
        for turn in range(effort.repeats + 1):
            begin = time.perf_counter()
            note = f"Asked for again, {turn}." if turn else ""
            card = issue_certificate(by=by, serial=serial, at=timezone.now(), change_note=note)
            pdf = pdf_bytes(card, at=timezone.now())
            middle = time.perf_counter()
            job = layout_job(card)
            start = time.perf_counter()
            plain = lay_out(job)
            end = time.perf_counter()
            cards.append(card)
            if turn == 0:
                check_same_paper(pdf, plain)
                continue
            ours.append(middle - begin)
            bare.append(end - start)
    value, baseline = statistics.median(ours) * 1000, statistics.median(bare) * 1000
    ratio = value / baseline
    against = "the layout library on the same page with the same options, in a process of its own"
    goal = f"at most {MOST_TIMES_LAYOUT}×"
    yield Measurement(
        "whole certificate: freeze, lay out, embed, sign", value, "ms", baseline, ratio, goal,
        ratio <= MOST_TIMES_LAYOUT, against,
    )  # fmt: skip
    return cards


def _check(card: CertificateCard, effort: Effort) -> Measurement:
    pdf = pdf_bytes(card, at=timezone.now())
    taken = []
    for _ in range(effort.repeats + 1):
        begin = time.perf_counter()
        found = check_pdf(pdf)
        taken.append((time.perf_counter() - begin) * 1000)
    if found.answer is not Answer.CURRENT:
        raise CommandError(f"The check says {found.answer} of the newest certificate.")
    value = statistics.median(taken[1:])
    goal = f"below {MOST_CHECK} ms"
    return Measurement("check of a signed PDF", value, "ms", goal=goal, met=value < MOST_CHECK)


def _two_cores(by: Person, serials: Sequence[str], each: int) -> Measurement:
    """Certificates a second of two processes over those of one, each with its own layout process."""
    alone, first, second = (serials[start : start + each] for start in range(0, 3 * each, each))
    one = each / _seconds(by, [alone])
    two = 2 * each / _seconds(by, [first, second])
    ratio = two / one
    goal = f"at least {LEAST_TWO_CORES}×"
    return Measurement(
        f"batch on two cores, {each} each", two, "/s", one, ratio, goal, ratio >= LEAST_TWO_CORES,
        "the same work by one process",
    )  # fmt: skip


def _seconds(by: Person, shares: Sequence[Sequence[str]]) -> float:
    """How long processes take for their shares, from a common start to the last one's end."""
    fork = multiprocessing.get_context("fork")
    start = fork.Barrier(len(shares) + 1)
    connections.close_all()
    working = [fork.Process(target=_work, args=(by, share, start)) for share in shares]
    for process in working:
        process.start()
    start.wait(120)
    begin = time.perf_counter()
    for process in working:
        process.join()
    taken = time.perf_counter() - begin
    if any(process.exitcode for process in working):
        raise CommandError("A process that issued certificates ended early; see above.")
    return taken


def _work(by: Person, serials: Sequence[str], start: multiprocessing.synchronize.Barrier) -> None:
    """One worker: warm first, as one that has run for a while."""
    WORKER.running()
    start.wait(120)
    for serial in serials:
        card = issue_certificate(by=by, serial=serial, at=timezone.now())
        pdf_bytes(card, at=timezone.now())
    connections.close_all()
    WORKER.stop()
