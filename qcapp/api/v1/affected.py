"""Who is affected: asking, and kept lists with the holds and field actions made from them."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, OpenApiTypes, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.affected import services
from qcapp.affected.answering import Answer
from qcapp.affected.papers import names_in, paper
from qcapp.affected.queries import kept_list, kept_lists, told_rows
from qcapp.people.queries import may
from qcapp.people.roles import Act

from ..acts import ActView, Refusal
from ..errors import plain

BAD = {400: Refusal, 401: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}


class Affected(serializers.Serializer[Any]):
    question = serializers.CharField()
    counts = serializers.DictField(child=serializers.IntegerField())
    units = serializers.ListField(child=serializers.DictField())


class AffectedLists(serializers.Serializer[Any]):
    lists = serializers.ListField(child=serializers.DictField())


class AffectedList(serializers.Serializer[Any]):
    list = serializers.DictField()
    answer = Affected()
    uses = serializers.ListField(child=serializers.DictField())


class KeepList(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=120)
    ask = serializers.CharField(max_length=2000)


class HoldListed(serializers.Serializer[Any]):
    serials = serializers.ListField(child=serializers.CharField(max_length=40), max_length=1000)
    title = serializers.CharField(max_length=120)
    reason = serializers.CharField(max_length=600)
    severity = serializers.ChoiceField(choices=["critical", "major", "minor"], default="major")


class WriteToOwners(serializers.Serializer[Any]):
    title = serializers.CharField(max_length=160)
    reason = serializers.CharField(max_length=500)


class PaperMade(serializers.Serializer[Any]):
    paper = serializers.CharField()


class AffectedView(ActView):
    act = {"GET": Act.ASK_AFFECTED}

    @extend_schema(
        parameters=[OpenApiParameter("ask", str, required=True, description="heat 7K4412 and not (welder W11)")],
        responses={200: Affected} | BAD,
    )
    def get(self, request: Request) -> Response:
        """The units that share what the question names, as recorded now. The audit keeps question and answer."""
        question = request.query_params.get("ask", "")
        return Response(_answer(self, services.ask(by=self.person, question=question, at=self.at, through="api")))


class AffectedListsView(ActView):
    act = {"GET": Act.ASK_AFFECTED, "POST": Act.KEEP_AFFECTED}

    @extend_schema(responses={200: AffectedLists} | BAD, operation_id="AffectedListList")
    def get(self, request: Request) -> Response:
        """The lists kept last, the newest first."""
        return Response({"lists": [_card(one) for one in kept_lists()]})

    @extend_schema(request=KeepList, responses={201: AffectedList} | BAD)
    def post(self, request: Request) -> Response:
        """Ask, and keep the question with its answer under a name."""
        given = self.read(KeepList)
        number = services.keep_list(by=self.person, name=given["name"], question=given["ask"], at=self.at)
        return Response(_list(self, number), status=201)


class AffectedListView(ActView):
    act = {"GET": Act.ASK_AFFECTED}

    @extend_schema(responses={200: AffectedList} | BAD)
    def get(self, request: Request, number: str) -> Response:
        """A kept list as it was known, and the papers that refer to it."""
        return Response(_list(self, number))


class AffectedFileView(ActView):
    act = {"GET": Act.ASK_AFFECTED}

    @extend_schema(responses={(200, "application/octet-stream"): OpenApiTypes.BINARY} | BAD)
    def get(self, request: Request, number: str, form: str) -> HttpResponse:
        """A kept list as csv, xlsx or pdf."""
        names = may(self.person, Act.SEE_CUSTOMERS, self.at)
        data, kind = paper(kept_list(number), form, names=names)
        return HttpResponse(data, content_type=kind)


class AffectedHoldView(ActView):
    act = {"POST": Act.HOLD_LISTED}

    @extend_schema(request=HoldListed, responses={201: PaperMade} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """One report over these units of the list, which holds them."""
        made = services.hold_listed(by=self.person, number=number, at=self.at, **self.read(HoldListed))
        return Response({"paper": made}, status=201)


class AffectedOwnersView(ActView):
    act = {"POST": Act.LEAD_FIELD_ACTION}

    @extend_schema(request=WriteToOwners, responses={201: PaperMade} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """A field action over the units of the list that had been shipped."""
        made = services.write_to_owners(by=self.person, number=number, at=self.at, **self.read(WriteToOwners))
        return Response({"paper": made}, status=201)


def _answer(view: ActView, found: Answer) -> dict[str, Any]:
    """The answer as plain values; customers for those who may see them."""
    rows = told_rows(found.rows)
    names = names_in(found.rows) if may(view.person, Act.SEE_CUSTOMERS, view.at) else None
    for row in rows:
        number = row.pop("customer")
        row.pop("item_id")
        if names is not None:
            row |= {"customer_number": number, "customer": names.get(number, "")}
    return {"question": found.question, "counts": dict(found.counts), "units": rows}


def _list(view: ActView, number: str) -> dict[str, Any]:
    kept = kept_list(number)
    uses = [plain(asdict(use)) for use in kept.uses]
    return {"list": _card(kept.card), "answer": _answer(view, kept.answer), "uses": uses}


def _card(one: Any) -> dict[str, Any]:
    told: dict[str, Any] = plain(asdict(one))
    told.pop("id")
    return told
