"""The demonstration of improvement: one corrective action that helped, one that waits for units, proposals, costs.

Pressed mudguards had a wavy mounting edge until the blank holder was set anew; their story is long and light enough to
show an effect. All invented.
"""

from __future__ import annotations

import random
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from qcapp.improvement.queries.field import field_action
from qcapp.improvement.queries.similar import clusters
from qcapp.improvement.services import costs, field, leading, opening
from qcapp.improvement.services.reminding import follow_up
from qcapp.improvement.services.settings import set_improvement
from qcapp.messages.services import choose_mail, mark_read
from qcapp.messages.services.delivering import deliver_due
from qcapp.nonconformance.queries import reports
from qcapp.people.queries import site_day
from qcapp.people.roles import Role
from qcapp.people.services import change_person

from .calendar import workday
from .stories import Incident, Story

if TYPE_CHECKING:
    from qcapp.people.models import Person

    from .cast import Cast

MUDGUARD = ("MG-5", "pressed mudguard", "MG-5-{number:4}", "MG", "A")
BEFORE, AFTER = 26, 24  # mudguards from before and after the blank holder was set
WAVY = {3: "1.7", 6: "1.8", 9: "1.6", 11: "1.9", 14: "1.7", 18: "1.8", 20: "1.9", 23: "1.7", 25: "1.8"}
FIRST_DAY, CHANGED_DAY, LAST_DAY = 52, 25, 3  # days before today
SEED = 5
WAVE = "Mounting edge wavy, but drawn flat by its five bolts: appearance and function unaffected."
MADE_AGAIN = "Blank holder set anew and its force written on the setting sheet."


def mudguards() -> tuple[Story, ...]:
    """Their stories, one after the other."""
    drawn = random.Random(SEED)  # noqa: S311 - invented readings
    return tuple(_mudguard(number, drawn) for number in range(1, BEFORE + AFTER + 1))


def _mudguard(number: int, drawn: random.Random) -> Story:
    before = number <= BEFORE
    first, last, of = (FIRST_DAY, CHANGED_DAY + 1, BEFORE) if before else (CHANGED_DAY - 1, LAST_DAY, AFTER)
    place = number - 1 if before else number - BEFORE - 1
    days_ago = first - (first - last) * place // (of - 1)
    usual = min(1.3, max(0.4, drawn.gauss(1.05 if before else 0.75, 0.14)))
    value = WAVY.get(number, f"{usual:.1f}")
    incident = Incident(
        "edge_flat", {"value": value}, "closed", disposition="use_as_is", concession_upper="2.0", instruction=WAVE,
        action="Answered by a corrective action: the edge is flattened by a changed setting of the press.",
        contained="Pressing stopped, the last five mudguards looked at again.",
    )  # fmt: skip
    return Story("MG-5", number, days_ago, stages=2, order=f"S-{1200 + number // 4}", incidents=(incident,), issues=0)


def improve(cast: Cast, now: datetime) -> None:
    """Settings, actions, costs, a field action and what is left to read, once every unit was played."""
    quality = cast.with_role(Role.QUALITY_MANAGER)
    set_up = {"rate_per_hour": Decimal("64.00"), "currency": "EUR", "similar_count": 3, "units_wanted": 40}
    set_improvement(by=quality, similar_days=14, at=now - timedelta(days=60), **set_up)  # type: ignore[arg-type]
    _flat_edge(cast, now)
    _undercut(cast, now)
    set_improvement(by=quality, similar_days=30, at=now - timedelta(days=2), **set_up)  # type: ignore[arg-type]
    _costs(cast, now)
    _field(cast, now)
    _left_to_read(cast, now)


def _lead(cast: Cast, basis: str, title: str, at: datetime, value: str = "") -> str:
    """An action for a cluster at that time: of this value, or the largest of its kind."""
    quality = cast.with_role(Role.QUALITY_MANAGER)
    kind = [one for one in clusters(at=at, least=1) if one.basis == basis and title.startswith(one.family_code)]
    found = next(one for one in kind if value in ("", one.value))
    problem = f"{found.words}, each a unit that had to be looked at again."
    return opening.open_action(
        by=quality, title=title, problem=problem, basis=basis, value=found.value, family_code=found.family_code, at=at
    )


def _done(cast: Cast, number: str, steps: tuple[tuple[str, str], ...], at: datetime) -> None:
    """Steps agreed, done by their owners and verified."""
    quality = cast.with_role(Role.QUALITY_MANAGER)
    due = site_day(at) + timedelta(days=4)
    keys = [
        leading.add_step(by=quality, number=number, text=text, owner_badge=badge, due_on=due, at=at)
        for text, badge in steps
    ]
    leading.agree(by=quality, number=number, at=at)
    for key, (_, badge) in zip(keys, steps, strict=True):
        done_at = at + timedelta(days=1)
        told = {"number": number, "step_id": key}
        leading.move_step(by=cast.people[badge], name="do", note="Done.", at=done_at, **told)  # type: ignore[arg-type]
        leading.move_step(by=quality, name="verify", at=done_at + timedelta(hours=1), **told)  # type: ignore[arg-type]


def _flat_edge(cast: Cast, now: datetime) -> None:
    """It helped: seven of 22 before, none of 24 since."""
    at = workday(now, CHANGED_DAY + 2) + timedelta(hours=3)
    number = _lead(cast, "checkpoint", "MG-5: mounting edge comes out wavy", at)
    whys = ["The edge buckles while the flange is drawn.", "The blank holder lifts before the punch is down.",
            "Its force was set by ear after the tool was changed.", "The setting sheet names no force."]  # fmt: skip
    leading.explain(by=cast.with_role(Role.ENGINEER), number=number, whys=whys, cause="method", at=at)
    welder = cast.with_role(Role.WELDER).badge
    steps = ((MADE_AGAIN, welder), ("First part of each setting measured on the plate.", "1003"))
    _done(cast, number, steps, at)
    since = site_day(workday(now, CHANGED_DAY - 1))
    leading.watch(
        by=cast.with_role(Role.QUALITY_MANAGER), number=number, effective_on=since, units_wanted=20,
        at=workday(now, CHANGED_DAY - 1) + timedelta(hours=6),
    )  # fmt: skip
    costs.record_cost(
        by=cast.with_role(Role.ENGINEER), about=number, what="Setting trials on the press", minutes=240,
        material=Decimal("38.50"), at=now - timedelta(days=20),
    )  # fmt: skip


def _undercut(cast: Cast, now: datetime) -> None:
    """It waits for units: frames are slow."""
    at = workday(now, 31) + timedelta(hours=8)
    number = _lead(cast, "joint", "FR-200: undercut at W3", at)
    whys = ["The torch moves too fast over the last third.", "The welder stands cramped between the uprights."]
    leading.explain(by=cast.with_role(Role.WELDING_COORDINATOR), number=number, whys=whys, cause="method", at=at)
    _done(cast, number, (("Step at the fixture moved by 200 mm.", "1006"),), at)
    leading.watch(
        by=cast.with_role(Role.QUALITY_MANAGER), number=number, effective_on=site_day(at + timedelta(days=2)),
        at=at + timedelta(days=3),
    )  # fmt: skip


def _costs(cast: Cast, now: datetime) -> None:
    """What most of the reports have cost so far."""
    drawn = random.Random(SEED)  # noqa: S311 - invented numbers
    for card in reports(limit=200):
        if card.state in ("closed", "in_correction", "to_be_verified") and card.disposition:
            corrected = card.disposition in ("rework", "scrap")
            minutes = drawn.randrange(90, 260, 15) if corrected else drawn.randrange(15, 50, 5)
            material = Decimal("186.40") if card.disposition == "scrap" else Decimal(drawn.randrange(0, 30)) / 2
            what = "Straightened and measured again" if corrected else "Looked at and decided"
            costs.record_cost(
                by=cast.with_role(Role.QUALITY_MANAGER), about=card.number, what=what, minutes=minutes,
                material=material if corrected else Decimal(0), at=min(now, card.changed_at + timedelta(hours=1)),
            )  # fmt: skip


LETTER = (
    "Dear customer,\n\non your trike the four bolts of the axle plates may have been tightened to less than "
    "the drawing asks for. Please do not load the platform with more than half its load until we have looked at it.\n\n"
    "We come to you, it takes a quarter of an hour and costs you nothing. Please answer with a day that suits you.\n\n"
    "With kind regards\nThe quality manager"
)
CUSTOMERS = (
    ("Orchard Lane Farm", "4 Orchard Lane, Alder Quay", ("FR-200-0128", "FR-200-0129")),
    ("Hillside Growers", "Hillside Road 12, Quayhead", ("FR-200-0130", "FR-200-0131", "FR-200-0132")),
    ("Mill Bridge Nurseries", "Mill Bridge 1, Alder Quay", ("FR-200-0133",)),
)
FOLLOWED = {
    "FR-200-0128": ("notified", "answered", "fine"),
    "FR-200-0129": ("notified", "answered", "to_correct", "corrected"),
    "FR-200-0130": ("notified", "answered", "to_correct"),
    "FR-200-0131": ("notified", "answered"),
    "FR-200-0132": ("notified",),
}


def _field(cast: Cast, now: datetime) -> None:
    """Six frames that have left, looked at where they are."""
    quality, service = cast.with_role(Role.QUALITY_MANAGER), cast.with_role(Role.CUSTOMER_SERVICE)
    at = now - timedelta(days=12)
    reason = "A torque wrench that read too high was used on the bolts of the axle plates of six frames."
    number = field.open_field_action(by=quality, title="Axle plate bolts: tighten again", reason=reason, at=at)
    for name, address, serials in CUSTOMERS:
        field.list_units(by=quality, number=number, serials=serials, customer=name, address=address, at=at)
    field.write_letter(by=quality, number=number, subject="Your trike: axle plate bolts", text=LETTER, at=at)
    units = [unit for customer in field_action(number).customers for unit in customer.units]
    for unit in units:
        for day, kind in enumerate(FOLLOWED.get(unit.serial, ()), start=1):
            later = at + timedelta(days=2 * day)
            field.follow_unit(by=service, number=number, unit_id=unit.id, kind=kind, at=later)


def _left_to_read(cast: Cast, now: datetime) -> None:
    """Older messages are read; proposals, reminders and an e-mail that could not be delivered are not."""
    for person in cast.people.values():
        mark_read(by=person, at=now - timedelta(hours=20))
    engineer, quality = cast.with_role(Role.ENGINEER), cast.with_role(Role.QUALITY_MANAGER)
    choose_mail(by=engineer, kinds=["reminder", "action_proposed"], at=now - timedelta(days=1))
    _open_step(cast, engineer, now)
    follow_up(at=now)
    deliver_due(at=now)
    keeper = cast.with_role(Role.KEEPER)
    told = {"name": quality.name, "initials": quality.initials, "email": "quality@alderquay.example"}
    change_person(by=keeper, person=quality, at=now, **told)
    choose_mail(by=quality, kinds=["reminder", "decision_waiting", "action_proposed"], at=now)


def _open_step(cast: Cast, owner: Person, now: datetime) -> None:
    """A step that is due soon, in an action that is being led."""
    at = now - timedelta(days=1, hours=2)
    number = _lead(cast, "fixture", "FR-200: frames of TF-02 come out of parallel", at, "TF-02")
    whys = ["The left axle plate is pulled while the frame cools.", "Only one clamp holds it in fixture TF-02."]
    leading.explain(by=owner, number=number, whys=whys, cause="machine", at=at)
    leading.add_step(
        by=cast.with_role(Role.QUALITY_MANAGER), number=number, text="Second clamp at the axle-plate station drawn.",
        owner_badge=owner.badge, due_on=site_day(now) + timedelta(days=2), at=at,
    )  # fmt: skip
