"""Weld procedures, welders' qualifications, and what is said before an arc is struck."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.conf import settings
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.lib.site_days import months_later, site_day
from qcapp.nonconformance.services.welding import start_weld_or_report
from qcapp.people.queries import person_by_badge
from qcapp.people.roles import Act
from qcapp.production.queries.authorising import AuthorisationCard, EyesightCard, authorisations, eyesight_checks
from qcapp.production.queries.fixtures import FixtureCard, fixtures
from qcapp.production.queries.welding import (
    CONTINUITY,
    ProcedureCard,
    QualificationCard,
    qualification_by_uuid,
    qualifications,
    weld_procedures,
    work_of,
)
from qcapp.production.services.authorising import authorise_inspector, record_eyesight
from qcapp.production.services.continuity import confirm_qualification
from qcapp.production.services.fixtures import add_fixture, verify_fixture
from qcapp.production.services.welding import Arc, Range, add_procedure, add_qualification

from ..acts import ActView, Refusal
from ..owned import OwnedView
from ..shapes import answer, answer_shape, as_json, shape_of
from .gauges import decimal_field

if TYPE_CHECKING:
    from qcapp.people.models import Person

BAD = {400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}
Procedures = answer_shape("WeldProcedures", procedures=list[ProcedureCard])
Qualifications = answer_shape("WelderQualifications", qualifications=list[QualificationCard])


Fixtures = answer_shape("Fixtures", fixtures=list[FixtureCard])
Inspectors = answer_shape("Inspectors", authorisations=list[AuthorisationCard], eyesight_checks=list[EyesightCard])


class Scope(serializers.Serializer[Any]):
    process = serializers.CharField(max_length=8, help_text="its number in ISO 4063")
    thickness_from = decimal_field(help_text="mm")
    thickness_to = decimal_field(help_text="mm")


class ProcedureBody(Scope):
    number = serializers.CharField(max_length=20)
    revision = serializers.CharField(max_length=4)
    title = serializers.CharField(max_length=120)
    base_grades = serializers.ListField(child=serializers.CharField(max_length=40), max_length=40)
    filler = serializers.CharField(max_length=60, allow_blank=True, default="")
    preheat = serializers.IntegerField(allow_null=True, default=None, help_text="°C, at least")


class QualificationBody(Scope):
    welder = serializers.CharField(max_length=20, help_text="badge")
    certificate = serializers.CharField(max_length=60)
    issued_on = serializers.DateField()
    expires_on = serializers.DateField()


class ArcBody(serializers.Serializer[Any]):
    operation = serializers.UUIDField(help_text="UUID version 7; sending again changes nothing")
    joints = serializers.ListField(child=serializers.CharField(max_length=12), min_length=1, max_length=100)
    procedure = serializers.UUIDField()
    thickness = decimal_field(help_text="mm, of the thinner part")
    base_grade = serializers.CharField(max_length=40)
    filler_lot = serializers.CharField(max_length=40)
    machine = serializers.CharField(max_length=40)
    fixture = serializers.CharField(max_length=40, allow_blank=True, default="")
    preheat = serializers.IntegerField(allow_null=True, default=None, help_text="°C, as measured")
    recorded_at = serializers.DateTimeField(
        allow_null=True, default=None, help_text="when it was said, where a tablet kept it without network"
    )


class FixtureBody(serializers.Serializer[Any]):
    number = serializers.CharField(max_length=20)
    name = serializers.CharField(max_length=80)
    interval_months = serializers.IntegerField(default=12)


class VerificationBody(serializers.Serializer[Any]):
    done_on = serializers.DateField()
    passed = serializers.BooleanField()
    due_on = serializers.DateField(allow_null=True, default=None, help_text="else after the fixture's interval")
    document = serializers.CharField(max_length=60, allow_blank=True, default="")
    remark = serializers.CharField(max_length=300, allow_blank=True, default="")
    done_by = serializers.CharField(max_length=120)


class AuthorisationBody(serializers.Serializer[Any]):
    inspector = serializers.CharField(max_length=20, help_text="badge")
    method = serializers.CharField(max_length=12, help_text="visual, penetrant or leak")
    certificate = serializers.CharField(max_length=60)
    issued_on = serializers.DateField()
    expires_on = serializers.DateField()


class EyesightBody(serializers.Serializer[Any]):
    inspector = serializers.CharField(max_length=20, help_text="badge")
    done_on = serializers.DateField()
    passed = serializers.BooleanField()


class ConfirmationBody(serializers.Serializer[Any]):
    evidence = serializers.CharField(
        max_length=300, allow_blank=True, default="", help_text="of work that is not recorded here"
    )
    pin = serializers.CharField(max_length=12)


class RecordedWork(serializers.Serializer[Any]):
    joints = serializers.IntegerField(help_text="within its thicknesses")
    last_on = serializers.DateField(allow_null=True, help_text="of those")
    outside = serializers.IntegerField(help_text="joints of another thickness, which keep nothing alive")
    unsized = serializers.IntegerField(help_text="joints of which no thickness was said, likewise")


class QualificationStands(serializers.Serializer[Any]):
    qualification = shape_of(QualificationCard)()
    standing = serializers.CharField(help_text="holds, lapsed, expired or not yet")
    work = RecordedWork(help_text="by its process, in the last six months")


class ArcStarted(serializers.Serializer[Any]):
    report = serializers.CharField(allow_null=True, help_text="the report about what did not fit")


class ProceduresView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN, "POST": Act.KEEP_WELDING}

    @extend_schema(operation_id="WeldProcedureList", responses={200: Procedures})
    def get(self, request: Request) -> Response:
        """The procedures in force."""
        return Response(answer(procedures=weld_procedures()))

    @extend_schema(request=ProcedureBody, responses={201: Procedures} | BAD)
    def post(self, request: Request) -> Response:
        """Add a procedure, or its next revision."""
        given = self.read(ProcedureBody)
        add_procedure(by=self.person, scope=_scope(given), at=self.at, **given)
        return Response(answer(procedures=weld_procedures()), status=201)


class QualificationsView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN, "POST": Act.KEEP_WELDING}

    @extend_schema(operation_id="WelderQualificationList", responses={200: Qualifications})
    def get(self, request: Request) -> Response:
        """What each welder is qualified for, and until when."""
        return Response(answer(qualifications=qualifications()))

    @extend_schema(request=QualificationBody, responses={201: Qualifications} | BAD)
    def post(self, request: Request) -> Response:
        """Write down what a welder was tested for."""
        given = self.read(QualificationBody)
        welder = person_by_badge(given.pop("welder"))
        add_qualification(by=self.person, welder=welder, scope=_scope(given), at=self.at, **given)
        return Response(answer(qualifications=qualifications()), status=201)


class QualificationView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN, "POST": Act.CONFIRM_WELDER}

    @extend_schema(operation_id="WelderQualification", responses={200: QualificationStands, 404: Refusal})
    def get(self, request: Request, uuid: UUID) -> Response:
        """One qualification: where it stands, its confirmations, and the work recorded in the last six months."""
        return Response(_stands(uuid, self.at))

    @extend_schema(
        operation_id="WelderQualificationConfirmed",
        request=ConfirmationBody,
        responses={201: QualificationStands} | BAD,
    )
    def post(self, request: Request, uuid: UUID) -> Response:
        """Confirm, signed, that the welder has gone on welding; it holds for six months then."""
        given = self.read(ConfirmationBody)
        confirm_qualification(proof=self.proof(given.pop("pin")), uuid=uuid, at=self.at, **given)
        return Response(_stands(uuid, self.at), status=201)


class ArcsView(OwnedView):
    act = {"POST": Act.RECORD_RESULT}
    shape = ArcBody

    @staticmethod
    def take(by: Person, given: dict[str, Any], at: datetime, serial: str) -> dict[str, Any]:
        arc = Arc(serial=serial, joints=tuple(given.pop("joints")), **given)
        return {"report": start_weld_or_report(by=by, arc=arc, unqualified=settings.QCAPP_UNQUALIFIED_WELDS, at=at)}

    @extend_schema(request=ArcBody, responses={201: ArcStarted} | BAD)
    def post(self, request: Request, serial: str) -> Response:
        """Say what is welded with what before the arc is struck; range and qualification are checked now."""
        return Response(self.taken(serial=serial), status=201)


class FixturesView(ActView):
    act = {"GET": Act.LOOK_AT_GAUGES, "POST": Act.KEEP_GAUGES}

    @extend_schema(operation_id="FixtureList", responses={200: Fixtures})
    def get(self, request: Request) -> Response:
        """Every fixture with its verifications, those that may not be used first."""
        return Response(answer(fixtures=fixtures(self.at)))

    @extend_schema(request=FixtureBody, responses={201: shape_of(FixtureCard)} | BAD)
    def post(self, request: Request) -> Response:
        """Add a fixture under the number on its plate."""
        return Response(as_json(add_fixture(by=self.person, at=self.at, **self.read(FixtureBody))), status=201)


class VerificationsView(ActView):
    act = {"POST": Act.KEEP_GAUGES}

    @extend_schema(request=VerificationBody, responses={201: shape_of(FixtureCard)} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """Record a verification of the fixture."""
        card = verify_fixture(by=self.person, number=number, at=self.at, **self.read(VerificationBody))
        return Response(as_json(card), status=201)


class InspectorsView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN, "POST": Act.KEEP_WELDING}

    @extend_schema(operation_id="InspectorList", responses={200: Inspectors})
    def get(self, request: Request) -> Response:
        """Who may judge welds by which method, and the last eyesight checks."""
        return Response(_inspectors())

    @extend_schema(request=AuthorisationBody, responses={201: Inspectors} | BAD)
    def post(self, request: Request) -> Response:
        """Write down an inspector's authorisation."""
        given = self.read(AuthorisationBody)
        inspector = person_by_badge(given.pop("inspector"))
        authorise_inspector(by=self.person, inspector=inspector, at=self.at, **given)
        return Response(_inspectors(), status=201)


class EyesightView(ActView):
    act = {"POST": Act.KEEP_WELDING}

    @extend_schema(request=EyesightBody, responses={201: Inspectors} | BAD)
    def post(self, request: Request) -> Response:
        """Write down an eyesight check; it holds for a year."""
        given = self.read(EyesightBody)
        record_eyesight(by=self.person, inspector=person_by_badge(given.pop("inspector")), at=self.at, **given)
        return Response(_inspectors(), status=201)


def _stands(uuid: UUID, at: datetime) -> dict[str, Any]:
    card, today = qualification_by_uuid(uuid), site_day(at)
    work = work_of([card], months_later(today, -CONTINUITY))[card.id]
    return {"qualification": as_json(card), "standing": str(card.standing(today)), "work": work._asdict()}


def _inspectors() -> dict[str, Any]:
    return answer(authorisations=authorisations(), eyesight_checks=eyesight_checks())


def _scope(given: dict[str, Any]) -> Range:
    process, lowest, highest = (given.pop(name) for name in ("process", "thickness_from", "thickness_to"))
    return Range(process, Decimal(lowest), Decimal(highest))
