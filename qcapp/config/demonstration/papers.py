"""Papers of the demonstration, invented: choices of families, a first-article report, a lot's certificate."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from qcapp.certificates.choices import Choice
from qcapp.certificates.services.choosing import choose_paper
from qcapp.certificates.services.lots import certify_lot
from qcapp.inspections.queries.first_articles import first_articles
from qcapp.inspections.services.first_articles import decide_first_article, mark_first_article
from qcapp.people.roles import Role
from qcapp.people.services import demonstration_proof

if TYPE_CHECKING:
    from .cast import Cast
    from .player import UnitPlayer

CHOICES = {
    "FK-30": Choice(language="de"),
    "FT-14": Choice(statistics=True, welds=False, names=True),
    "HT-6": Choice(kind="summary", lengths="in", paper="letter"),
}
FIRST_ARTICLE = "FR-200-0128"
CERTIFIED_LOT, ORDER = "TK-200-L0001", "S-1190"


def choose_papers(cast: Cast, at: datetime) -> None:
    """The fork's certificates in German, the fuel tank's with statistics and names, the hydraulic tank's in inches."""
    for code, choice in CHOICES.items():
        choose_paper(by=cast.with_role(Role.QUALITY_MANAGER), family_code=code, choice=choice, at=at)


def mark_article(player: UnitPlayer) -> None:
    """The first frame of the revision, marked when it is opened."""
    if player.story.serial != FIRST_ARTICLE:
        return
    letter = player.revision.letter
    mark_first_article(
        by=player.cast.with_role(Role.QUALITY_MANAGER), serial=FIRST_ARTICLE,
        stage_number=player.revision.stages[-1].number, cause="revision", about=f"revision {letter}",
        at=player.shift.at,
    )  # fmt: skip


def accept_article(player: UnitPlayer) -> None:
    """Accepted before its release: its certificate is a first-article report."""
    if player.story.serial != FIRST_ARTICLE:
        return
    (article,) = first_articles(player.revision.family_id)
    at = player.shift.after(20)
    proof = demonstration_proof(player.cast.with_role(Role.QUALITY_MANAGER), at)
    decide_first_article(
        proof=proof, article=article.uuid, accepted=True, reason="As drawn; every balloon answered.", at=at
    )


def certify_lots(cast: Cast, now: datetime) -> None:
    """An inspector who had no part in cutting them signs for a hundred tubes."""
    at = now - timedelta(days=3)
    proof = demonstration_proof(cast.with_role(Role.INSPECTOR, 1), at)
    certify_lot(proof=proof, lot_code=CERTIFIED_LOT, order_number=ORDER, at=at)
