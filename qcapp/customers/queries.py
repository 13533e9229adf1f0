"""Readers of customers, orders, dispatches and service events. Names are asked for by those who may see them."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from uuid import UUID

from django.db.models import Case, IntegerField, Prefetch, Q, QuerySet, Value, When

from qcapp.core.errors import NotFound
from qcapp.core.identification import lookup_key
from qcapp.lib.plain_text import shown

from .models import Customer, Dispatch, Order, ServiceEvent, ServicePhoto

LONGEST = 60


@dataclass(frozen=True)
class CustomerCard:
    """Who buys."""

    id: int
    number: str
    name: str
    contact: str


@dataclass(frozen=True)
class OrderCard:
    """An order and whose it is."""

    id: int
    number: str
    customer: CustomerCard
    at: datetime
    approves_concessions: bool = False
    due_on: date | None = None


@dataclass(frozen=True)
class DispatchCard:
    """A unit handed over with an issue of its certificate."""

    item_id: int
    order: OrderCard
    certificate_number: str
    certificate_issue: int
    person_name: str
    at: datetime


@dataclass(frozen=True)
class EventCard:
    """What happened to a unit after it left."""

    uuid: UUID
    item_id: int
    kind: str
    kind_label: str
    happened_on: date
    text: str
    report: str
    photos: tuple[UUID, ...]
    by_name: str
    at: datetime


def customers() -> list[CustomerCard]:
    """Every customer, by name."""
    return [_customer(row) for row in Customer.objects.order_by("name")]


def customer_by_number(number: str) -> CustomerCard:
    """The customer of that number. Raises NotFound `customer_unknown`."""
    wanted = number.strip()
    row = None if "\0" in wanted else Customer.objects.filter(number__iexact=wanted).first()
    if row is None:
        raise NotFound("customer_unknown", f"There is no customer {shown(wanted)}; enter the customer first.")
    return _customer(row)


def order_by_number(number: str) -> OrderCard:
    """The order of that number. Raises NotFound `order_unknown`."""
    wanted = number.strip()
    row = None if "\0" in wanted else _orders().filter(number__iexact=wanted).first()
    if row is None:
        raise NotFound("order_unknown", f"There is no order {shown(wanted)}; enter it with its customer first.")
    return _order(row)


def orders(limit: int = 200) -> list[OrderCard]:
    """The orders entered last, the newest first."""
    return [_order(row) for row in _orders().order_by("-id")[:limit]]


def orders_named(numbers: Iterable[str]) -> list[OrderCard]:
    """Those of these orders that are entered."""
    return [_order(row) for row in _orders().filter(number__in=list(numbers))]


def any_approves(numbers: Iterable[str]) -> bool:
    """Whether one of these orders asks for the customer's approval of concessions."""
    return Order.objects.filter(number__in=list(numbers), approves_concessions=True).exists()


def due_days(numbers: Iterable[str]) -> dict[str, date]:
    """The day that each of these orders is due, of those that have one; one query."""
    rows = Order.objects.filter(number__in=list(numbers), due_on__isnull=False)
    return {number: day for number, day in rows.values_list("number", "due_on") if day is not None}


def _orders() -> QuerySet[Order]:
    return Order.objects.select_related("customer")


def _customer(row: Customer) -> CustomerCard:
    return CustomerCard(row.pk, row.number, row.name, row.contact)


def _order(row: Order) -> OrderCard:
    return OrderCard(row.pk, row.number, _customer(row.customer), row.at, row.approves_concessions, row.due_on)


def dispatches(item_ids: Iterable[int]) -> dict[int, DispatchCard]:
    """The last dispatch of each of these items."""
    rows = Dispatch.objects.filter(item__in=list(item_ids)).order_by("id")
    rows = rows.select_related("order__customer", "certificate", "signature__person")
    return {row.item_id: _dispatch(row) for row in rows}


def customers_holding(item_ids: Collection[int]) -> dict[int, str]:
    """The name of the customer to whom each of these items was sent last; by columns, for long lists."""
    rows = Dispatch.objects.filter(item__in=item_ids).order_by("id")
    return dict(rows.values_list("item_id", "order__customer__name"))


def _dispatch(row: Dispatch) -> DispatchCard:
    certificate = row.certificate
    return DispatchCard(
        row.item_id, _order(row.order), certificate.number, certificate.issue, row.signature.person.name, row.at
    )


def events_of(item_id: int) -> list[EventCard]:
    """The service events of a unit, the latest first."""
    return [_event(row) for row in _events().filter(item=item_id)]


def recent_events(limit: int = 100) -> list[EventCard]:
    """The service events recorded last, of every unit."""
    return [_event(row) for row in _events()[:limit]]


def _events() -> QuerySet[ServiceEvent]:
    photos = Prefetch("photos", ServicePhoto.objects.select_related("photo"))
    return ServiceEvent.objects.select_related("by").prefetch_related(photos).order_by("-happened_on", "-id")


def _event(row: ServiceEvent) -> EventCard:
    photos = tuple(one.photo.uuid for one in row.photos.all())
    return EventCard(
        row.uuid, row.item_id, row.kind, row.get_kind_display(), row.happened_on, row.text, row.report, photos,
        row.by.name, row.at,
    )  # fmt: skip


def items_of_orders(fragment: str, limit: int = 40, *, names: bool) -> list[tuple[str, str]]:
    """Order number and customer's name where the order, or with `names` the customer, holds the fragment."""
    key = lookup_key(fragment.replace("\0", ""))
    if not 0 < len(key) <= LONGEST:
        return []
    which = Q(lookup__contains=key)
    if names:
        which |= Q(customer__lookup__contains=key) | Q(customer__number__iexact=fragment.strip().replace("\0", ""))
    ends = Case(When(lookup__endswith=key, then=Value(0)), default=Value(1), output_field=IntegerField())
    rows = Order.objects.filter(which).order_by(ends, "-id").values_list("number", "customer__name")[:limit]
    return [(number, name if names else "") for number, name in rows]


@dataclass(frozen=True, slots=True)
class Shipped:
    """A dispatch as far as a long list shows it; the customer by number, so that a list may be kept without a name."""

    order_number: str
    customer_number: str
    at: datetime


def shipped(item_ids: Iterable[int]) -> dict[int, Shipped]:
    """The last dispatch of each of these items; one query."""
    rows = Dispatch.objects.filter(item__among=set(item_ids)).order_by("id")
    columns = rows.values_list("item_id", "order__number", "order__customer__number", "at")
    return {item: Shipped(order, customer, at) for item, order, customer, at in columns}


def items_dispatched(since: datetime | None, until: datetime | None) -> set[int]:
    """The items dispatched in this time; `until` is left out."""
    which = Q()
    if since is not None:
        which &= Q(at__gte=since)
    if until is not None:
        which &= Q(at__lt=until)
    return set(Dispatch.objects.filter(which).values_list("item_id", flat=True))


def customer_names(numbers: Iterable[str]) -> dict[str, str]:
    """The names behind customers' numbers, for those who may see them; one query."""
    return dict(Customer.objects.filter(number__in=set(numbers)).values_list("number", "name"))
