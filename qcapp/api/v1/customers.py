"""Customers, orders, the signed dispatch of a unit, and what happens to it afterwards."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.customers import services
from qcapp.customers.queries import (
    CustomerCard,
    DispatchCard,
    EventCard,
    OrderCard,
    customers,
    dispatches,
    events_of,
    orders,
)
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial

from ..acts import ActView, Pin, Refusal
from ..shapes import answer, answer_shape, as_json, content_of, shape_of

BAD = {400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}
Customers = answer_shape("Customers", customers=list[CustomerCard])
Orders = answer_shape("Orders", orders=list[OrderCard])
Dispatched = answer_shape("Dispatched", serial=str, dispatch=DispatchCard | None)
ServiceEvents = answer_shape("ServiceEvents", serial=str, events=list[EventCard])


class CustomerBody(serializers.Serializer[Any]):
    number = serializers.CharField(max_length=20)
    name = serializers.CharField(max_length=120)
    contact = serializers.CharField(max_length=200, allow_blank=True, default="")


class OrderBody(serializers.Serializer[Any]):
    number = serializers.CharField(max_length=40)
    customer = serializers.CharField(max_length=20, help_text="the customer's number")
    approves_concessions = serializers.BooleanField(required=False, default=False)
    due_on = serializers.DateField(required=False, allow_null=True, default=None)


class OrderDueBody(serializers.Serializer[Any]):
    order_number = serializers.CharField(max_length=40)
    due_on = serializers.DateField(allow_null=True, help_text="null for no day")


class DispatchBody(Pin):
    order_number = serializers.CharField(max_length=40)
    certificate_number = serializers.CharField(max_length=24)
    issue = serializers.IntegerField(min_value=1)


class EventPhoto(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=120)
    content = serializers.CharField(help_text="in base64")


class EventBody(serializers.Serializer[Any]):
    kind = serializers.CharField(max_length=12, help_text="complaint, accident, repair, warranty or recall_work")
    happened_on = serializers.DateField()
    text = serializers.CharField(max_length=600)
    report_severity = serializers.CharField(max_length=12, allow_blank=True, default="", help_text="raises a report")
    photos = EventPhoto(many=True, default=list)


class CustomersView(ActView):
    act = {"GET": Act.SEE_CUSTOMERS, "POST": Act.KEEP_ORDERS}

    @extend_schema(operation_id="CustomerList", responses={200: Customers})
    def get(self, request: Request) -> Response:
        """Every customer."""
        return Response(answer(customers=customers()))

    @extend_schema(request=CustomerBody, responses={201: shape_of(CustomerCard)} | BAD)
    def post(self, request: Request) -> Response:
        """Enter a customer."""
        return Response(
            as_json(services.add_customer(by=self.person, at=self.at, **self.read(CustomerBody))), status=201
        )


class OrdersView(ActView):
    act = {"GET": Act.SEE_CUSTOMERS, "POST": Act.KEEP_ORDERS}

    @extend_schema(operation_id="OrderList", responses={200: Orders})
    def get(self, request: Request) -> Response:
        """The orders entered last."""
        return Response(answer(orders=orders()))

    @extend_schema(request=OrderBody, responses={201: shape_of(OrderCard)} | BAD)
    def post(self, request: Request) -> Response:
        """Enter an order of a customer."""
        given = self.read(OrderBody)
        given["customer_number"] = given.pop("customer")
        return Response(as_json(services.add_order(by=self.person, at=self.at, **given)), status=201)


class OrderDueView(ActView):
    act = {"POST": Act.KEEP_ORDERS}

    @extend_schema(request=OrderDueBody, responses={200: shape_of(OrderCard)} | BAD)
    def post(self, request: Request) -> Response:
        """Change the day that an order is due."""
        return Response(as_json(services.set_due(by=self.person, at=self.at, **self.read(OrderDueBody))))


class DispatchView(ActView):
    act = {"GET": Act.SEE_CUSTOMERS, "POST": Act.DISPATCH_UNIT}

    @extend_schema(responses={200: Dispatched, 404: Refusal})
    def get(self, request: Request, serial: str) -> Response:
        """When, on which order and with which certificate the unit was handed over; null while it is here."""
        unit = unit_by_serial(serial)
        return Response(answer(serial=unit.serial, dispatch=dispatches([unit.item_id]).get(unit.item_id)))

    @extend_schema(request=DispatchBody, responses={201: Dispatched} | BAD)
    def post(self, request: Request, serial: str) -> Response:
        """Hand the unit over with an issue of its certificate, signed."""
        given = self.read(DispatchBody)
        card = services.dispatch(proof=self.proof(given.pop("pin")), serial=serial, at=self.at, **given)
        return Response(answer(serial=unit_by_serial(serial).serial, dispatch=card), status=201)


class ServiceEventsView(ActView):
    act = {"GET": Act.SEE_CUSTOMERS, "POST": Act.RECORD_SERVICE}

    @extend_schema(operation_id="ServiceEventList", responses={200: ServiceEvents, 404: Refusal})
    def get(self, request: Request, serial: str) -> Response:
        """What happened to the unit after it left."""
        return Response(_events(serial))

    @extend_schema(request=EventBody, responses={201: ServiceEvents} | BAD)
    def post(self, request: Request, serial: str) -> Response:
        """Record a service event, with photos; it can raise a report."""
        given = self.read(EventBody)
        photos = [(photo["name"], content_of(photo["content"])) for photo in given.pop("photos")]
        services.record_event(by=self.person, serial=serial, photos=photos, at=self.at, **given)
        return Response(_events(serial), status=201)


def _events(serial: str) -> dict[str, Any]:
    unit = unit_by_serial(serial)
    return answer(serial=unit.serial, events=events_of(unit.item_id))
