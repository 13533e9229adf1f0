"""Certificates: the issues of a unit, what one says, and its PDF."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import HttpResponse
from django.utils.dateparse import parse_datetime
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.certificates.queries import certificate, certificates_of, certificates_since, content_of
from qcapp.certificates.services.issuing import issue_certificate
from qcapp.certificates.services.rendering import pdf_bytes, qif_bytes
from qcapp.core.errors import Invalid
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial

from ..acts import ActView, Refusal
from .units import certificate_json

MOST_LISTED = 100


class Certificate(serializers.Serializer[Any]):
    number = serializers.CharField()
    issue = serializers.IntegerField()
    serial = serializers.CharField()
    family = serializers.CharField()
    standing = serializers.CharField(help_text="current, replaced, withdrawn or under review")
    digest = serializers.CharField(help_text="SHA-256 of the frozen content")
    token = serializers.CharField(help_text="key of the public check page")
    change_note = serializers.CharField(allow_blank=True)
    issued_by = serializers.CharField()
    issued_at = serializers.DateTimeField()
    replaced_by = serializers.IntegerField(allow_null=True)
    withdrawn_at = serializers.DateTimeField(allow_null=True)
    withdrawn_reason = serializers.CharField(allow_blank=True)


class CertificateList(serializers.Serializer[Any]):
    certificates = Certificate(many=True)


class CertificateContent(Certificate):
    content = serializers.DictField(help_text="everything the certificate says, as frozen")


class Issue(serializers.Serializer[Any]):
    serial = serializers.CharField(max_length=40)
    change_note = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


def _instant(text: str) -> datetime:
    try:
        found = parse_datetime(text[:40].replace(" ", "+"))
    except ValueError:
        found = None
    if found is None or found.tzinfo is None:
        raise Invalid("time_unreadable", "Write since= as a time with its zone: 2031-04-30T14:10:00Z.")
    return found


class CertificatesView(ActView):
    act = {"GET": Act.GET_CERTIFICATE, "POST": Act.ISSUE_CERTIFICATE}

    @extend_schema(
        parameters=[
            OpenApiParameter("serial", str, description="every issue of one unit, the latest first"),
            OpenApiParameter("since", OpenApiTypes.DATETIME, description="issued or withdrawn since, the oldest first"),
        ],
        responses={200: CertificateList, 400: Refusal, 404: Refusal},
        operation_id="CertificateList",
    )
    def get(self, request: Request) -> Response:
        """Every issue of a unit's certificate, or up to 100 that were issued or withdrawn since a time."""
        since = request.query_params.get("since", "")
        if since:
            cards = certificates_since(_instant(since), MOST_LISTED)
        else:
            unit = unit_by_serial(request.query_params.get("serial", "")[:60])
            cards = certificates_of(unit.item_id)
        return Response({"certificates": [certificate_json(card) for card in cards]})

    @extend_schema(request=Issue, responses={201: Certificate, 400: Refusal, 403: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """Issue the certificate of a released unit, or a further issue with what changed."""
        given = self.read(Issue)
        card = issue_certificate(by=self.person, at=self.at, **given)
        return Response(certificate_json(card), status=201)


class CertificateView(ActView):
    act = {"GET": Act.GET_CERTIFICATE}

    @extend_schema(responses={200: CertificateContent, 404: Refusal})
    def get(self, request: Request, number: str, issue: int) -> Response:
        """One issue with its frozen content."""
        card = certificate(number, issue)
        return Response(certificate_json(card) | {"content": content_of(card.id)})


class CertificatePdfView(ActView):
    act = {"GET": Act.GET_CERTIFICATE}

    @extend_schema(responses={(200, "application/pdf"): OpenApiTypes.BINARY, 404: Refusal})
    def get(self, request: Request, number: str, issue: int) -> HttpResponse:
        """The PDF: the same bytes whenever it is asked for."""
        card = certificate(number, issue)
        name = f"{card.number}-{card.issue}.pdf"
        return HttpResponse(
            pdf_bytes(card, at=self.at),
            content_type="application/pdf",
            headers={"Content-Disposition": f'attachment; filename="{name}"'},
        )


class CertificateQifView(ActView):
    act = {"GET": Act.GET_CERTIFICATE}

    @extend_schema(responses={(200, "application/xml"): OpenApiTypes.BINARY, 404: Refusal})
    def get(self, request: Request, number: str, issue: int) -> HttpResponse:
        """The results as QIF 3.0 (ISO 23952)."""
        card = certificate(number, issue)
        name = f"{card.number}-{card.issue}.qif"
        headers = {"Content-Disposition": f'attachment; filename="{name}"'}
        return HttpResponse(qif_bytes(card), content_type="application/xml", headers=headers)
