"""One gauge and everything kept with it: calibrations with their points, studies, what falls due, what it measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.urls import reverse
from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.gauges import services, studying
from qcapp.gauges.budgets import Line
from qcapp.gauges.due import due_list, feed_key
from qcapp.gauges.keeping import BudgetCard, KeepingCard, budget_of, keep_gauge, keeping_of, set_budget
from qcapp.gauges.points import Point
from qcapp.gauges.queries import (
    CalibrationCard,
    KindCard,
    UseCard,
    calibrations_of,
    gauge_by_number,
    gauge_kinds,
    uses_of,
)
from qcapp.people.queries import may
from qcapp.people.roles import Act
from qcapp.production.queries import unit_by_serial
from qcapp.recall.queries import RecallView, recall_of
from qcapp.recall.services import hold_affected

from ..acts import ActView, Refusal, SignedReason
from ..shapes import answer, answer_shape, as_json, content_of, shape_of
from .gauges import Gauge, decimal_field, gauge_json

BAD = {400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}


@dataclass(frozen=True)
class CalibrationEntry:
    """A calibration with the number that its recall is asked for by."""

    calibration: int
    found_out: bool
    said: CalibrationCard


@dataclass(frozen=True)
class StudyEntry:
    """A study with the number that it is asked for by. What was read is told when it is complete."""

    study: int
    said: studying.StudyCard


@dataclass(frozen=True)
class NextReading:
    """What the person reads next; `part` is null when every part was read."""

    place: int | None
    part: int | None
    done: int
    of: int


@dataclass(frozen=True)
class DueEntry:
    """When a gauge falls due; negative days are overdue, null was never calibrated."""

    number: str
    kind: str
    due_on: str
    days: int | None


Kinds = answer_shape("GaugeKinds", kinds=list[KindCard])
DueList = answer_shape("GaugesDue", due=list[DueEntry], calendar=str)
Studies = answer_shape("GaugeStudies", studies=list[StudyEntry])
Recalled = answer_shape("GaugeRecall", recall=RecallView)


class GaugeFile(serializers.Serializer[Any]):
    gauge = Gauge()
    keeping = shape_of(KeepingCard)(allow_null=True)
    budget = shape_of(BudgetCard)(allow_null=True)
    calibrations = shape_of(CalibrationEntry)(many=True)
    uses = shape_of(UseCard)(many=True)
    studies = shape_of(StudyEntry)(many=True)


class KindBody(serializers.Serializer[Any]):
    key = serializers.CharField(max_length=40)
    name = serializers.CharField(max_length=80)


class PointBody(serializers.Serializer[Any]):
    reference = decimal_field()
    as_found = decimal_field()
    as_left = decimal_field(allow_null=True, default=None)
    limit = decimal_field(help_text="limit of error, plus and minus")
    series = serializers.CharField(
        max_length=40, allow_blank=True, default="", help_text="what of the gauge was read, as its kind names it"
    )


class LookedAtBody(serializers.Serializer[Any]):
    question = serializers.CharField(max_length=120, help_text="one of its kind’s own")
    good = serializers.BooleanField()


class CalibrationBody(serializers.Serializer[Any]):
    done_on = serializers.DateField()
    due_on = serializers.DateField(allow_null=True, default=None, help_text="else after the gauge's interval")
    outcome = serializers.CharField(max_length=8, allow_blank=True, default="", help_text="else by the points")
    expanded_uncertainty = decimal_field(allow_null=True, default=None, help_text="k = 2")
    certificate = serializers.CharField(max_length=60, allow_blank=True, default="")
    done_by = serializers.CharField(max_length=120)
    points = PointBody(many=True, default=list)
    looked_at = LookedAtBody(many=True, default=list, help_text="answers to the questions of its kind; one no: failed")


class KeepingBody(serializers.Serializer[Any]):
    owner = serializers.CharField(max_length=80, allow_blank=True, default="")
    place = serializers.CharField(max_length=80, allow_blank=True, default="")
    name = serializers.CharField(max_length=120, default="gauge.jpg")
    content = serializers.CharField(allow_blank=True, default="", help_text="the picture in base64")


class BudgetLineBody(serializers.Serializer[Any]):
    name = serializers.CharField(max_length=80)
    value = decimal_field(help_text="half-width, or with normal what the divisor belongs to")
    distribution = serializers.CharField(max_length=12, default="normal", help_text="or rectangular, triangular …")
    divisor = decimal_field(default=Decimal(1), help_text="of normal: k")
    sensitivity = decimal_field(default=Decimal(1))


class BudgetBody(serializers.Serializer[Any]):
    lines = BudgetLineBody(many=True)


class ReasonBody(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=200)


class StudyBody(serializers.Serializer[Any]):
    title = serializers.CharField(max_length=160)
    badges = serializers.ListField(child=serializers.CharField(max_length=20), max_length=12)
    parts = serializers.IntegerField()
    trials = serializers.IntegerField()
    lower = decimal_field(allow_null=True, default=None)
    upper = decimal_field(allow_null=True, default=None)
    truth = serializers.ListField(child=serializers.BooleanField(), default=list, help_text="a study of verdicts")
    checkpoint = serializers.CharField(
        max_length=40, allow_blank=True, default="", help_text="that it is kept with: family and number"
    )


class ReadingBody(serializers.Serializer[Any]):
    place = serializers.IntegerField(help_text="as `next` gave it")
    value = serializers.CharField(max_length=40, help_text="yes or no in a study of verdicts")


class RecallHoldBody(SignedReason):
    serials = serializers.ListField(child=serializers.CharField(max_length=40), min_length=1, max_length=2000)


class KindsView(ActView):
    act = {"GET": Act.LOOK_AT_GAUGES, "POST": Act.KEEP_GAUGES}

    @extend_schema(operation_id="GaugeKindList", responses={200: Kinds})
    def get(self, request: Request) -> Response:
        """Every kind of gauge that plans can ask for."""
        return Response(answer(kinds=gauge_kinds()))

    @extend_schema(request=KindBody, responses={201: shape_of(KindCard)} | BAD)
    def post(self, request: Request) -> Response:
        """Add a kind of gauge."""
        return Response(as_json(services.add_kind(by=self.person, at=self.at, **self.read(KindBody))), status=201)


class UsualKindsView(ActView):
    act = {"POST": Act.KEEP_GAUGES}

    @extend_schema(operation_id="GaugeKindsUsual", request=None, responses={201: Kinds} | BAD)
    def post(self, request: Request) -> Response:
        """Add the usual kinds of gauge that are not there yet; gives all kinds."""
        services.add_usual_kinds(by=self.person, at=self.at)
        return Response(answer(kinds=gauge_kinds()), status=201)


class GaugesDueView(ActView):
    act = {"GET": Act.LOOK_AT_GAUGES}

    @extend_schema(operation_id="GaugesDueList", responses={200: DueList})
    def get(self, request: Request) -> Response:
        """What falls due, the overdue first; and the address of this person's own calendar feed."""
        found = [
            DueEntry(one.gauge.number, one.gauge.kind_name, str(one.gauge.due_on or ""), one.days)
            for one in due_list(self.at)
        ]
        calendar = request.build_absolute_uri(reverse("gauges:feed", kwargs={"key": feed_key(self.person)}))
        return Response(answer(due=found, calendar=calendar))


class GaugeView(ActView):
    act = {"GET": Act.LOOK_AT_GAUGES}

    @extend_schema(operation_id="GaugeFile", responses={200: GaugeFile, 404: Refusal})
    def get(self, request: Request, number: str) -> Response:
        """One gauge with its calibrations, when it was out of use, and its studies."""
        return Response(_file(number, self.at))


def _file(number: str, at: datetime) -> dict[str, Any]:
    card = gauge_by_number(number, at)
    parts = answer(
        keeping=keeping_of(card.id),
        budget=budget_of(card.id),
        calibrations=[CalibrationEntry(one.id, one.found_out, one) for one in calibrations_of(card.id)],
        uses=uses_of(card.id),
        studies=[StudyEntry(one.id, one) for one in studying.studies_of(card.id)],
    )
    return {"gauge": gauge_json(card)} | parts


class CalibrationsView(ActView):
    act = {"POST": Act.KEEP_GAUGES}

    @extend_schema(request=CalibrationBody, responses={201: GaugeFile} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """Record a calibration; with points the outcome is computed from them."""
        given = self.read(CalibrationBody)
        points = [Point(**point) for point in given.pop("points")]
        given["looked_at"] = {one["question"]: one["good"] for one in given["looked_at"]}
        services.record_calibration(by=self.person, number=number, points=points, at=self.at, **given)
        return Response(_file(number, self.at), status=201)


class KeepingView(ActView):
    act = {"POST": Act.KEEP_GAUGES}

    @extend_schema(request=KeepingBody, responses={201: GaugeFile} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """Whose the gauge is, where it lies, and its picture."""
        given = self.read(KeepingBody)
        picture, name = content_of(given.pop("content")), given.pop("name")
        keep_gauge(by=self.person, number=number, picture=picture, picture_name=name, at=self.at, **given)
        return Response(_file(number, self.at), status=201)


class BudgetView(ActView):
    act = {"POST": Act.KEEP_GAUGES}

    @extend_schema(request=BudgetBody, responses={201: GaugeFile} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """The gauge's uncertainty budget, combined by the rules of the GUM."""
        lines = [Line(**line) for line in self.read(BudgetBody)["lines"]]
        set_budget(by=self.person, number=number, lines=lines, at=self.at)
        return Response(_file(number, self.at), status=201)


class OutOfUseView(ActView):
    act = {"POST": Act.KEEP_GAUGES}

    @extend_schema(request=ReasonBody, responses={201: GaugeFile} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """Nobody may measure with it from now on."""
        reason = self.read(ReasonBody)["reason"]
        services.take_out_of_use(by=self.person, number=number, reason=reason, at=self.at)
        return Response(_file(number, self.at), status=201)


class BackInUseView(ActView):
    act = {"POST": Act.KEEP_GAUGES}

    @extend_schema(request=ReasonBody, responses={201: GaugeFile} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """It may be measured with again, if its calibration stands."""
        reason = self.read(ReasonBody)["reason"]
        services.put_back_in_use(by=self.person, number=number, reason=reason, at=self.at)
        return Response(_file(number, self.at), status=201)


class RetireView(ActView):
    act = {"POST": Act.KEEP_GAUGES}

    @extend_schema(request=ReasonBody, responses={201: GaugeFile} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """It is gone for good; its number and everything that it measured stay."""
        services.retire(by=self.person, number=number, reason=self.read(ReasonBody)["reason"], at=self.at)
        return Response(_file(number, self.at), status=201)


# -------------------------------------------------------------------------------------------------- studies


class StudiesView(ActView):
    act = {"POST": Act.KEEP_GAUGES}

    @extend_schema(request=StudyBody, responses={201: shape_of(StudyEntry)} | BAD)
    def post(self, request: Request, number: str) -> Response:
        """Plan a study; the order of the readings is drawn by chance."""
        row = studying.plan_study(by=self.person, number=number, at=self.at, **self.read(StudyBody))
        return Response(_study(row.pk), status=201)


class StudyView(ActView):
    act = {"GET": Act.LOOK_AT_GAUGES}

    @extend_schema(responses={200: shape_of(StudyEntry), 404: Refusal})
    def get(self, request: Request, study: int) -> Response:
        """A study as far as it has come; what it found once it is complete."""
        return Response(_study(study))


class StudyReadingsView(ActView):
    act = {"GET": Act.RECORD_RESULT, "POST": Act.RECORD_RESULT}

    @extend_schema(operation_id="StudyNext", responses={200: shape_of(NextReading)} | BAD)
    def get(self, request: Request, study: int) -> Response:
        """The part that this person reads next."""
        return Response(as_json(self._next(study)))

    @extend_schema(request=ReadingBody, responses={201: shape_of(NextReading)} | BAD)
    def post(self, request: Request, study: int) -> Response:
        """Keep the reading of that part; gives the next one."""
        studying.record_reading(by=self.person, study_id=study, at=self.at, **self.read(ReadingBody))
        return Response(as_json(self._next(study)), status=201)

    def _next(self, study: int) -> NextReading:
        found = studying.next_reading(study, self.person)
        if found is None:
            card = studying.study_card(study)
            own = card.of // len(card.appraisers)
            return NextReading(None, None, own, own)
        return NextReading(found.place, found.part, found.done, found.of)


def _study(study: int) -> dict[str, Any]:
    card = studying.study_card(study)
    body: dict[str, Any] = as_json(StudyEntry(card.id, card))
    return body


# --------------------------------------------------------------------------------------------------- recall


class GaugeRecallView(ActView):
    act = {"GET": Act.LOOK_AT_GAUGES, "POST": Act.HOLD_AFFECTED}

    @extend_schema(responses={200: Recalled} | BAD)
    def get(self, request: Request, number: str, calibration: int) -> Response:
        """What the gauge measured since its last good calibration, judged again with the error found."""
        return Response(answer(recall=self._seen(number, calibration)))

    @extend_schema(request=RecallHoldBody, responses={201: Recalled} | BAD)
    def post(self, request: Request, number: str, calibration: int) -> Response:
        """Hold the chosen units under one report, signed."""
        given = self.read(RecallHoldBody)
        proof = self.proof(given.pop("pin"))
        items = {unit_by_serial(serial).item_id for serial in given["serials"]}
        hold_affected(
            proof=proof, number=number, calibration_id=calibration, item_ids=items, reason=given["reason"], at=self.at
        )
        return Response(answer(recall=self._seen(number, calibration)), status=201)

    def _seen(self, number: str, calibration: int) -> RecallView:
        """As this person may see it: whose a shipped unit is, for those who may see customers."""
        view = recall_of(number, calibration, at=self.at, viewer=self.person)
        if may(self.person, Act.SEE_CUSTOMERS, self.at):
            return view
        return replace(view, units=tuple(replace(unit, customer="") for unit in view.units))
