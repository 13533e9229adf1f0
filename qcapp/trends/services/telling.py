"""Putting signals into the quality manager's inbox, once each, outside of any submission.

A submission computes no chart. A process of its own (`manage.py watch_signals`) looks at the families whose
newest units have newer results than last time.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.conf import settings
from django.db import IntegrityError, transaction
from django.urls import reverse

from qcapp.messages.kinds import Kind
from qcapp.messages.services import Shown, tell
from qcapp.people.roles import Role
from qcapp.production.queries import FamilyCard

from ..models import SignalTold
from ..pictures.inks import inked, words_of
from ..pictures.signalled import signal_picture, stacked
from ..queries import watch_of
from ..queries.decided import acknowledgements_of
from ..readings import RULE
from ..signals import Episode, open_episodes
from ..watch import SIGNAL, Watched

MOST_AT_ONCE = 5  # messages; more signals of one family at a time are told in one


@dataclass(frozen=True)
class Fresh:
    """A signal that was not told before."""

    entry: Watched
    episode: Episode


def tell_signals(family: FamilyCard, *, at: datetime) -> int:
    """Tell the quality manager every signal of the family that is new, and give their number.

    Two processes that look at the same moment tell each signal once.
    """
    entries = [entry for entry in watch_of(family).entries if entry.rank == SIGNAL]
    known = acknowledgements_of([entry.series.characteristic_id for entry in entries])
    waiting = [
        Fresh(entry, episode)
        for entry in entries
        for episode in open_episodes(entry, known.get(entry.series.characteristic_id, []))
    ]
    with transaction.atomic():
        new = [one for one in waiting if _first_time(one, at)]
        if len(new) > MOST_AT_ONCE:
            _tell_together(family, new, at)
        else:
            for one in new:
                _tell(family, one, at)
    return len(new)


def _first_time(one: Fresh, at: datetime) -> bool:
    about = {
        "characteristic_id": one.entry.series.characteristic_id,
        "rule": one.episode.rule,
        "fixture": one.episode.fixture,
        "first_result_id": one.episode.first_result_id,
    }
    if SignalTold.objects.filter(**about).exists():
        return False
    try:
        with transaction.atomic():
            SignalTold.objects.create(**about, at=at)
    except IntegrityError:  # another process was first
        return False
    return True


def _tell(family: FamilyCard, one: Fresh, at: datetime) -> None:
    series, episode = one.entry.series, one.episode
    tell(
        to=Role.QUALITY_MANAGER,
        kind=Kind.TREND_SIGNAL,
        subject=f"{family.code}: signal on {series.title}",
        text=f"{episode.sentence} Whether a unit conforms is decided by its band alone.",
        link=reverse("trends:decisions", kwargs={"family": family.code, "key": series.key}),
        about=f"characteristic {family.code} {series.key}",
        key=f"signal {series.characteristic_id} {episode.rule} {episode.fixture} {episode.first_result_id}",
        at=at,
        picture=_shown(signal_picture(one.entry, episode), f"{family.code}, limits {series.limits_text}."),
    )


def _shown(svg: str, said: str) -> Shown | None:
    """The picture for the inbox and, with the rule written on it, for e-mail; None where there is nothing to draw."""
    notes = [said, RULE] + (["Demonstration data, invented. Nothing here is valid."] if settings.QCAPP_DEMO else [])
    return Shown(svg, inked(svg, notes=notes), words_of(svg)) if svg else None


def _tell_together(family: FamilyCard, new: list[Fresh], at: datetime) -> None:
    titles = ", ".join(dict.fromkeys(one.entry.series.title for one in new))
    last = max(one.episode.first_result_id for one in new)
    charts = {(one.entry.series.key, one.episode.fixture): one for one in reversed(new)}
    chosen = list(reversed(charts.values()))[:MOST_AT_ONCE]
    drawn = [signal_picture(one.entry, one.episode) for one in chosen]
    svg = stacked(drawn, f"signals-{last}", f"{family.code}: {len(drawn)} charts with signals")
    told = [f"Signals on {titles}."]
    if len(charts) > len(drawn):
        told.append(f"The first {len(drawn)} of {len(charts)} charts are shown.")
    tell(
        to=Role.QUALITY_MANAGER,
        kind=Kind.TREND_SIGNAL,
        subject=f"{family.code}: {len(new)} signals",
        text=" ".join(told),
        link=f"{reverse('trends:watch')}?family={family.code}",
        about=f"family {family.code}",
        key=f"signals {family.code} {last} {len(new)}",
        at=at,
        picture=_shown(svg, f"{family.code}."),
    )
