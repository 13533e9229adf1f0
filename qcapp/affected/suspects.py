"""The suspect population of a report: every unit that shares with it what may have caused the fault.

Each source is one function in SOURCES: it names the units it suspects and says since when and why. A source that has
nothing to go by gives None.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, time
from functools import cached_property
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from django.conf import settings

from qcapp.core.errors import NotFound
from qcapp.gauges.queries import CalibrationCard, calibrations_of, gauge_by_number
from qcapp.inspections.queries import adopted
from qcapp.inspections.queries.secrets import kept_secret
from qcapp.inspections.queries.suspected import (
    FailingAnswer,
    Standing,
    TextMark,
    answered_after,
    clearly_good_before,
    failing_answer,
    items_measured_with,
    items_with_text,
    last_clearly_good,
    standing_of_items,
    texts_on,
)
from qcapp.nonconformance.queries import ReportView, report
from qcapp.production.queries import (
    UnitCard,
    family_by_code,
    holds_by_item,
    items_opened_between,
    items_welded_by,
    units_of_items,
    welder_of,
)
from qcapp.production.queries.as_built import items_above, items_that_are_units
from qcapp.production.queries.places import whereabouts

from .material import (
    Material,
    holders_of_deliveries,
    holders_of_fillers,
    holders_of_heats,
    holders_of_lots,
    material_of,
)

if TYPE_CHECKING:
    from qcapp.people.models import Person
    from qcapp.plans.queries import CheckpointCard

FIXTURE_KEY = "fixture"  # the record checkpoint that names the weld fixture
LOT_ENDING = "_lot"  # record checkpoints that name a lot
EVERY = "every"
MOST = 500  # of one page; the newest first
LAST_ITEM = 2**62
CHUNK = 200


@dataclass(frozen=True)
class Source:
    """Why units are suspect: what they share, since when, and which they are."""

    key: str
    title: str
    sentence: str
    items: tuple[int, ...]


@dataclass(frozen=True)
class Suspect:
    """One unit with where it stands and the keys of what it shares.

    `own` is its own outcome at the checkpoint. `chosen`: proposed for hold, as it is of the same family and not shown
    to be clearly good.
    """

    unit: UnitCard
    sources: tuple[str, ...]
    own: str
    held_by: tuple[str, ...]
    held_here: bool
    chosen: bool
    place: str = ""  # where it was put last

    @property
    def left(self) -> bool:
        """Whether a hold can no longer stop it."""
        return self.unit.state == "dispatched"


@dataclass(frozen=True)
class Population:
    """One page of the suspect units, the newest of them, the proposed ones first. `total` counts all."""

    report: ReportView
    sources: tuple[Source, ...]
    suspects: tuple[Suspect, ...]
    total: int = 0
    start: int = 0

    @property
    def following(self) -> int | None:
        """Where the next page begins; None on the last."""
        return self.start + MOST if self.start + MOST < self.total else None

    @property
    def dispatched(self) -> int:
        return sum(one.left for one in self.suspects)


@dataclass(frozen=True)
class Subject:
    """The report and what its surroundings are looked up by."""

    view: ReportView
    failing: FailingAnswer | None
    cards: Mapping[str, CheckpointCard]
    family_id: int

    @property
    def item_id(self) -> int:
        return self.view.card.item_id

    @cached_property
    def card(self) -> CheckpointCard | None:
        """The checkpoint that the report is about."""
        own = self.view.card.checkpoint_number
        return next((card for card in self.cards.values() if card.number == own), None)

    @cached_property
    def material(self) -> Material:
        """What the report's units or its lot were made of."""
        return material_of(self.view.item_ids)

    @property
    def when(self) -> datetime:
        return self.failing.recorded_at if self.failing else self.view.card.raised_at

    @property
    def before(self) -> int:
        """Results with a smaller key came before the failing answer."""
        return self.failing.result_id if self.failing else LAST_ITEM

    @cached_property
    def texts(self) -> dict[str, str]:
        return texts_on(self.item_id) if self.cards else {}

    def text(self, key: str) -> str:
        return self.texts.get(key, "") if key in self.cards else ""


# -------------------------------------------------------------------------------------------------- the sources


def same_fixture(subject: Subject) -> Source | None:
    """Everything on the fixture since its last verification or the last clearly good value, whichever is later."""
    name = subject.text(FIXTURE_KEY)
    if not name:
        return None
    marks = items_with_text(subject.cards[FIXTURE_KEY].characteristic_id, name)
    verified = _last_passed(name, subject.when)
    since, said = 0, "since the first record of it"
    if verified is not None:
        moment = _begins(verified)
        since = sum(mark.recorded_at < moment for mark in marks)
        said = f"since its verification on {verified.done_on:%-d %B %Y}"
    order = {mark.item_id: place for place, mark in enumerate(marks)}
    good = _good_before(subject, order)
    if good and order[good] + 1 > since:
        since = order[good] + 1
        said = f"since the last clearly good value, on {_serial(good)}"
    return Source("fixture", f"Fixture {name}", f"Welded on it {said}.", _items(marks[since:]))


def same_lot(subject: Subject) -> Source | None:
    """Everything that holds the same lot by the as-built record, or for which a record checkpoint names it."""
    built = holders_of_lots(subject.material)
    if not subject.view.serials:  # a report on a lot: whatever it went into
        built[str(subject.view.facts.get("lot", "lot"))] = items_above([subject.item_id])
    return _same_text(subject, "lot", "Lot", [key for key in subject.cards if key.endswith(LOT_ENDING)], built)


def same_heat(subject: Subject) -> Source | None:
    """Everything that holds the same heat by the as-built record, or for which a record checkpoint names it."""
    keys = [key for key, card in subject.cards.items() if card.spec_json.get("form") == "heat"]
    return _same_text(subject, "heat", "Heat", keys, holders_of_heats(subject.material))


def same_filler(subject: Subject) -> Source | None:
    """Everything that was welded with the same lot of filler: of the joint, where the report is about one."""
    joint = str(subject.view.facts.get("joint", ""))
    return _built(holders_of_fillers(subject.item_id, joint), "filler", "Filler lot", "Welded with the same filler.")


def same_delivery(subject: Subject) -> Source | None:
    """Everything made of what the same delivery brought, where the delivery or its material is at fault."""
    named = str(subject.view.facts.get("delivery", ""))
    if not named and subject.view.cause != "material":
        return None
    found = holders_of_deliveries(subject.material, named)
    return _built(found, "delivery", "Delivery", "Made of what the same delivery brought.")


def same_gauge(subject: Subject) -> Source | None:
    """Everything measured with the gauge since its last good calibration."""
    failing = subject.failing
    if failing is None or failing.gauge_id is None:
        return None
    passed = _last_passed(failing.gauge_number, failing.recorded_at)
    if passed is None:
        return None
    items = items_measured_with(failing.gauge_id, _begins(passed), subject.view.card.changed_at)
    said = f"Measured with it since its last good calibration on {passed.done_on:%-d %B %Y}."
    return Source("gauge", f"Gauge {failing.gauge_number}", said, tuple(items))


def same_welder(subject: Subject) -> Source | None:
    """The same joint by the same welder since that welder's last accepted inspection of it."""
    joint = str(subject.view.facts.get("joint", ""))
    welder = welder_of(subject.item_id, joint) if joint else None
    if welder is None or subject.failing is None:
        return None
    good = 0
    for items in clearly_good_before(subject.failing.characteristic_id, subject.before, CHUNK):
        mine = items_welded_by(welder.pk, joint, items)
        good = next((item for item in items if item in mine), 0)
        if good:
            break
    later = items_opened_between(subject.family_id, good, LAST_ITEM)
    items = sorted(items_welded_by(welder.pk, joint, later))
    since = f"since the last accepted inspection, on {_serial(good)}" if good else "of which none was accepted before"
    return Source("welder", f"{joint} by {welder.name}", f"The same joint by the same welder, {since}.", tuple(items))


def sampled_back(subject: Subject) -> Source | None:
    """Where not every unit is inspected: all between the last good sample and this one, and those after it."""
    if subject.card is None or subject.failing is None or subject.card.frequency in ("", EVERY):
        return None
    good = last_clearly_good(subject.failing.characteristic_id, subject.before)
    items = items_opened_between(subject.family_id, good, LAST_ITEM)
    since = f"after the last good one, {_serial(good)}" if good else "from the first"
    said = f"The checkpoint is inspected on {subject.card.frequency}; every unit {since} may have the fault."
    return Source("sample", "Between samples", said, tuple(items))


def from_now_on(subject: Subject) -> Source | None:
    """Every unit after this one until the stated number in a row is clearly good."""
    needed = next((m.data["good_needed"] for m in reversed(subject.view.moves) if "good_needed" in m.data), 0)
    if not needed or subject.failing is None:
        return None
    run, after = 0, []
    for one in answered_after(subject.failing.characteristic_id, subject.before):
        after.append(one.item_id)
        run = run + 1 if one.clearly_good else 0
        if run == needed:
            return Source("next", "From now on", f"{needed} in a row are clearly good; the watch ended.", tuple(after))
    after += items_opened_between(subject.family_id, subject.item_id, LAST_ITEM)
    said = f"Until {needed} in a row are clearly good: {run} of {needed} so far."
    return Source("next", "From now on", said, tuple(dict.fromkeys(after)))


SOURCES: tuple[Callable[[Subject], Source | None], ...] = (
    same_fixture, same_lot, same_heat, same_filler, same_delivery, same_gauge, same_welder, sampled_back, from_now_on,
)  # fmt: skip


# ------------------------------------------------------------------------------------------------ the population


def population(number: str, *, viewer: Person, at: datetime, start: int = 0) -> Population:
    """Every unit that may have the fault of a report, whatever its state. Raises NotFound `report_unknown`.

    What a report hides from the viewer stays hidden: then there is nothing to go by, and the population is empty.
    """
    view = report(number, viewer=viewer, at=at)
    if view.card.hidden:
        return Population(view, (), ())
    plan = adopted(view.card.item_id).checkpoints if view.serials else ()
    failing = None if view.result_id is None else failing_answer(view.result_id)
    subject = Subject(view, failing, {card.key: card for card in plan}, family_by_code(view.card.family_code).id)
    sources = tuple(found for found in (ask(subject) for ask in SOURCES) if found is not None)
    return _assembled(subject, sources, viewer, at, max(0, start))


def _assembled(subject: Subject, sources: Sequence[Source], viewer: Person, at: datetime, start: int) -> Population:
    shared: dict[int, list[str]] = defaultdict(list)
    for source in sources:
        for item in source.items:
            shared[item].append(source.key)
    own = set(subject.view.item_ids)
    items = sorted((item for item in shared if item not in own), reverse=True)
    listed = items[start : start + MOST]
    units, holds = units_of_items(listed), holds_by_item(listed)
    outcomes, where = _outcomes(subject, listed, viewer, at), whereabouts(listed)
    suspects = []
    for item, unit in units.items():
        held = tuple(hold.source for hold in holds.get(item, ()) if hold.is_open)
        one = _suspect(subject, unit, tuple(shared[item]), outcomes.get(item, ""), held)
        suspects.append(replace(one, place=where[item].place.code if item in where else ""))
    suspects.sort(key=lambda one: (not one.chosen, -one.unit.item_id))
    return Population(subject.view, tuple(sources), tuple(suspects), len(items), start)


def _suspect(subject: Subject, unit: UnitCard, sources: tuple[str, ...], own: str, held: tuple[str, ...]) -> Suspect:
    here = any(source.split(" / ")[0] == subject.view.card.number for source in held)
    may_have_it = unit.family_id == subject.family_id and unit.state != "scrapped"
    chosen = may_have_it and own not in ("in_band", "conforms") and not here
    return Suspect(unit, sources, own, held, here, chosen)


def _outcomes(subject: Subject, items: Sequence[int], viewer: Person, at: datetime) -> dict[int, str]:
    """Each unit's own outcome at the checkpoint, but for what the viewer may not see yet."""
    if subject.failing is None:
        return {}
    found: dict[int, Standing] = standing_of_items(subject.failing.characteristic_id, items)
    secret: frozenset[tuple[int, int, int]] = frozenset()
    if subject.card is not None and (subject.card.second_inspection or subject.card.kind == "derived"):
        places = [(one.item_id, one.checkpoint_id, one.round) for one in found.values()]
        secret = kept_secret(places, viewer=viewer, at=at)
    return {
        item: one.outcome for item, one in found.items() if (one.item_id, one.checkpoint_id, one.round) not in secret
    }


def _same_text(
    subject: Subject, key: str, title: str, keys: Sequence[str], built: Mapping[str, Collection[int]]
) -> Source | None:
    """Units that share a recorded text, and those that hold the same by the as-built record (`built`)."""
    texts = {name: text for name in keys if (text := subject.text(name))}
    items: list[int] = []
    for name, text in texts.items():
        items += _items(items_with_text(subject.cards[name].characteristic_id, text))
    both = {**dict.fromkeys(texts.values(), ()), **built}
    return _built(both, key, title, "The same is recorded for them.", items)


def _built(
    holders: Mapping[str, Collection[int]], key: str, title: str, sentence: str, more: Sequence[int] = ()
) -> Source | None:
    """A source from what is shared and who holds it, the newest of them first; None where nothing is."""
    if not holders:
        return None
    held = set().union(*holders.values())
    items = dict.fromkeys([*more, *items_that_are_units(held - set(more))])
    return Source(key, f"{title} {', '.join(holders)}", sentence, tuple(items))


def _good_before(subject: Subject, order: Mapping[int, int]) -> int:
    """The unit of the fixture with the last clearly good value before the failing one, 0 without any."""
    if subject.failing is None:
        return 0
    return last_clearly_good(subject.failing.characteristic_id, subject.before, order)


def _last_passed(number: str, before: datetime) -> CalibrationCard | None:
    """The last calibration or verification that passed, of a gauge or of a fixture kept among the gauges."""
    try:
        gauge = gauge_by_number(number)
    except NotFound:
        return None
    found = [one for one in calibrations_of(gauge.id) if one.outcome == "passed" and one.done_on <= before.date()]
    return max(found, key=lambda one: one.done_on, default=None)


def _begins(calibration: CalibrationCard) -> datetime:
    return datetime.combine(calibration.done_on, time(), ZoneInfo(settings.QCAPP_SITE_ZONE))


def _items(marks: Sequence[TextMark]) -> tuple[int, ...]:
    return tuple(dict.fromkeys(mark.item_id for mark in marks))


def _serial(item_id: int) -> str:
    return next((unit.serial for unit in units_of_items([item_id]).values()), "")


def lines_of(found: Population) -> Iterator[dict[str, object]]:
    """The suspects as plain values, for the API."""
    for one in found.suspects:
        yield {
            "serial": one.unit.serial,
            "state": one.unit.state,
            "order": one.unit.order_number,
            "place": one.place,
            "shares": list(one.sources),
            "own": one.own,
            "held_by": list(one.held_by),
            "proposed": one.chosen,
        }
