"""Another plan revision and the units in build: previews, choices, checkpoints that do not apply, coming units."""

from __future__ import annotations

from typing import Any
from uuid import UUID

from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.inspections.queries import inspection_of
from qcapp.inspections.queries.adopting import (
    AdoptionPreview,
    Carry,
    ShownPreview,
    UnitUnderOther,
    preview_of,
    shown_to,
    under_other_revisions,
)
from qcapp.inspections.queries.coming import coming_units
from qcapp.inspections.queries.first_articles import first_articles
from qcapp.inspections.queries.witnesses import witnesses_of
from qcapp.inspections.services.adopting import choose_plan
from qcapp.inspections.services.applying import decide_applicability
from qcapp.inspections.services.first_articles import decide_first_article, mark_first_article
from qcapp.inspections.services.witnessing import record_witness
from qcapp.people.roles import Act
from qcapp.plans.queries import CheckpointCard, checkpoints_of, revision_card
from qcapp.production.queries import family_by_code, unit_by_serial

from ..acts import ActView, Refusal, SignedReason


class JudgedAgain(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    checkpoint = serializers.CharField()
    answer = serializers.CharField()
    inspection = serializers.IntegerField()
    limits_before = serializers.CharField()
    limits = serializers.CharField()
    recorded_as = serializers.CharField()
    by_the_new_limits = serializers.CharField(help_text="the verdict by the new limits alone")
    becomes = serializers.CharField(help_text="what counts after adopting")
    raises_report = serializers.BooleanField()


class PlanPreview(serializers.Serializer[Any]):
    serial = serializers.CharField()
    revision_before = serializers.CharField()
    revision = serializers.CharField()
    carried = serializers.IntegerField()
    judged_again = JudgedAgain(many=True)
    kept_back = serializers.IntegerField(help_text="answers that wait for a second inspection")
    new = serializers.ListField(child=serializers.IntegerField())
    answered_anew = serializers.ListField(child=serializers.IntegerField())
    removed = serializers.ListField(child=serializers.IntegerField())
    left_out_of_band = serializers.ListField(child=serializers.IntegerField())
    covers = serializers.CharField(help_text="SHA-256 of the preview; send it back with the choice")
    stays = serializers.CharField(allow_blank=True, help_text="the reason, where it was decided that the unit stays")


class PlanPreviews(serializers.Serializer[Any]):
    units = PlanPreview(many=True)


class PlanChoiceBody(SignedReason):
    choice = serializers.ChoiceField(choices=["adopt", "stay"])
    units = serializers.DictField(child=serializers.CharField(), help_text="for each serial the preview's `covers`")


class PlanChosen(serializers.Serializer[Any]):
    reports = serializers.DictField(child=serializers.ListField(child=serializers.CharField()))


class UnitsUnderOtherView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN, "POST": Act.CHOOSE_PLAN}

    @extend_schema(responses={200: PlanPreviews, 404: Refusal})
    def get(self, request: Request, uuid: UUID) -> Response:
        """The family's units in build under other revisions, and what adopting this one would do to each."""
        found = under_other_revisions(revision_card(uuid), viewer=self.person)
        return Response({"units": [_preview(one.preview, one.shown, one) for one in found]})

    @extend_schema(request=PlanChoiceBody, responses={201: PlanChosen, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request, uuid: UUID) -> Response:
        """Let the named units adopt the revision or stay, under one signature."""
        given = self.read(PlanChoiceBody)
        proof = self.proof(given.pop("pin"))
        units = given.pop("units")
        reports = choose_plan(proof=proof, revision_uuid=uuid, shown=units, at=self.at, **given)
        return Response({"reports": reports}, status=201)


class UnitUnderOtherView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN}

    @extend_schema(
        operation_id="PlanUnitPreview", responses={200: PlanPreview, 404: Refusal, 409: Refusal, 422: Refusal}
    )
    def get(self, request: Request, uuid: UUID, serial: str) -> Response:
        """What adopting the revision would do to one unit."""
        found = preview_of(unit_by_serial(serial), revision_card(uuid))
        return Response(_preview(found, shown_to(found, viewer=self.person), None))


def _preview(one: AdoptionPreview, shown: ShownPreview, listed: UnitUnderOther | None) -> dict[str, Any]:
    return {
        "serial": one.unit.serial,
        "revision_before": one.frm.letter,
        "revision": one.to.letter,
        "carried": shown.carried,
        "judged_again": [_judged(carry) for carry in shown.judged],
        "kept_back": shown.hidden,
        "new": _numbers(one.new),
        "answered_anew": _numbers(one.anew),
        "removed": _numbers(one.removed),
        "left_out_of_band": list(one.left_failing),
        "covers": one.covers,
        "stays": listed.stays if listed else "",
    }


def _numbers(cards: tuple[CheckpointCard, ...]) -> list[int]:
    return [card.number for card in cards]


def _judged(one: Carry) -> dict[str, Any]:
    return {
        "number": one.card.number,
        "checkpoint": one.card.key,
        "answer": one.described,
        "inspection": one.source.inspection,
        "limits_before": one.before.limits_text,
        "limits": one.card.limits_text,
        "recorded_as": one.source.outcome,
        "by_the_new_limits": one.judged_as,
        "becomes": one.outcome,
        "raises_report": one.worse,
    }


# ------------------------------------------------------------------------------------------------ coming units


class LotSample(serializers.Serializer[Any]):
    size = serializers.IntegerField()
    accept = serializers.IntegerField()
    reject = serializers.IntegerField()


class ComingCheckpoint(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    checkpoint = serializers.CharField()
    when = serializers.CharField()
    units = serializers.ListField(child=serializers.IntegerField(), help_text="running numbers that get it")
    sample = LotSample(allow_null=True)
    finding = serializers.CharField(allow_blank=True)


class ComingUnits(serializers.Serializer[Any]):
    numbers = serializers.ListField(child=serializers.IntegerField())
    on_every_unit = serializers.IntegerField()
    checkpoints = ComingCheckpoint(many=True)


class ComingView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN}

    @extend_schema(
        parameters=[OpenApiParameter("variant", OpenApiTypes.STR)], responses={200: ComingUnits, 404: Refusal}
    )
    def get(self, request: Request, uuid: UUID) -> Response:
        """Which of the next twenty units get the checkpoints that not every one gets."""
        card = revision_card(uuid)
        found = coming_units(card, checkpoints_of(card.id), request.query_params.get("variant", "")[:60])
        rows = [
            {
                "number": row.card.number,
                "checkpoint": row.card.key,
                "when": row.card.when,
                "units": [number for number, due in zip(found.numbers, row.due, strict=True) if due],
                "sample": _sample(row.sample),
                "finding": row.finding,
            }
            for row in found.rows
        ]
        return Response({"numbers": list(found.numbers), "on_every_unit": found.on_all, "checkpoints": rows})


def _sample(sample: Any) -> dict[str, int] | None:
    if sample is None:
        return None
    return {"size": sample.sample_size, "accept": sample.accept, "reject": sample.reject}


# ---------------------------------------------------------------------------------------------- first articles


class ArticleBody(serializers.Serializer[Any]):
    serial = serializers.CharField(max_length=40)
    stage = serializers.IntegerField(min_value=1)
    cause = serializers.CharField(max_length=10, help_text="revision, fixture, machine or supplier")
    about = serializers.CharField(max_length=160)


class ArticleDecision(SignedReason):
    accepted = serializers.BooleanField()


class Article(serializers.Serializer[Any]):
    uuid = serializers.UUIDField()
    serial = serializers.CharField()
    stage = serializers.IntegerField()
    cause = serializers.CharField()
    about = serializers.CharField()
    state = serializers.CharField(help_text="waits, accepted or not accepted")
    reason = serializers.CharField(allow_blank=True)
    decided_by = serializers.CharField(allow_blank=True)


class Articles(serializers.Serializer[Any]):
    first_articles = Article(many=True)


class ArticlesView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN, "POST": Act.MARK_FIRST_ARTICLE}

    @extend_schema(responses={200: Articles, 404: Refusal})
    def get(self, request: Request, family: str) -> Response:
        """The family's first articles, the latest first."""
        return Response(_articles(family))

    @extend_schema(request=ArticleBody, responses={201: Articles, 404: Refusal, 409: Refusal})
    def post(self, request: Request, family: str) -> Response:
        """Mark a unit in build as first article: the following ones wait at that stage."""
        given = self.read(ArticleBody)
        mark_first_article(by=self.person, stage_number=given.pop("stage"), at=self.at, **given)
        return Response(_articles(family), status=201)


class ArticleView(ActView):
    act = {"POST": Act.MARK_FIRST_ARTICLE}

    @extend_schema(
        operation_id="FirstArticleDecide",
        request=ArticleDecision,
        responses={201: Articles, 403: Refusal, 404: Refusal, 409: Refusal},
    )
    def post(self, request: Request, family: str, article: UUID) -> Response:
        """Accept a first article or not, signed."""
        given = self.read(ArticleDecision)
        decide_first_article(proof=self.proof(given.pop("pin")), article=article, at=self.at, **given)
        return Response(_articles(family), status=201)


def _articles(family: str) -> dict[str, Any]:
    rows = [
        {
            "uuid": str(one.uuid),
            "serial": one.serial,
            "stage": one.stage_number,
            "cause": one.cause,
            "about": one.about,
            "state": one.state,
            "reason": one.reason,
            "decided_by": one.decided_by_name,
        }
        for one in first_articles(family_by_code(family).id)
    ]
    return {"first_articles": rows}


# ----------------------------------------------------------------------------------------------- applicability


class ApplicabilityBody(SignedReason):
    checkpoint = serializers.CharField(max_length=60)
    applies = serializers.BooleanField()


class NotApplicableCheckpoint(serializers.Serializer[Any]):
    number = serializers.IntegerField()
    checkpoint = serializers.CharField()
    reason = serializers.CharField()
    decided_by = serializers.CharField()
    at = serializers.DateTimeField()


class NotApplicableList(serializers.Serializer[Any]):
    not_applicable = NotApplicableCheckpoint(many=True)


class ApplicabilityView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT, "POST": Act.DECIDE_APPLICABILITY}

    @extend_schema(responses={200: NotApplicableList, 404: Refusal})
    def get(self, request: Request, serial: str) -> Response:
        """The checkpoints that were decided not to apply to the unit."""
        return Response(_decided(serial))

    @extend_schema(request=ApplicabilityBody, responses={201: NotApplicableList, 403: Refusal, 409: Refusal})
    def post(self, request: Request, serial: str) -> Response:
        """Decide, signed, that a checkpoint does not apply to the unit, or applies again."""
        given = self.read(ApplicabilityBody)
        proof = self.proof(given.pop("pin"))
        decide_applicability(proof=proof, serial=serial, key=given.pop("checkpoint"), at=self.at, **given)
        return Response(_decided(serial), status=201)


def _decided(serial: str) -> dict[str, Any]:
    rows = [
        {
            "number": one.card.number,
            "checkpoint": one.card.key,
            "reason": one.excluded.reason,
            "decided_by": one.excluded.person_name,
            "at": one.excluded.at.isoformat(),
        }
        for one in inspection_of(serial).checkpoints
        if one.excluded
    ]
    return {"not_applicable": rows}


# ------------------------------------------------------------------------------------------------ witness points


class WitnessBody(serializers.Serializer[Any]):
    stage = serializers.IntegerField(min_value=1)
    what = serializers.ChoiceField(choices=["asked", "present", "waived"])
    whom = serializers.CharField(max_length=120)
    note = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class WitnessRecord(serializers.Serializer[Any]):
    stage = serializers.IntegerField()
    what = serializers.CharField()
    whom = serializers.CharField()
    note = serializers.CharField(allow_blank=True, help_text="for a waiver the reason")
    recorded_by = serializers.CharField()
    at = serializers.DateTimeField()


class WitnessRecords(serializers.Serializer[Any]):
    witnesses = WitnessRecord(many=True)


class WitnessesView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT, "POST": Act.RECORD_WITNESS}

    @extend_schema(responses={200: WitnessRecords, 404: Refusal})
    def get(self, request: Request, serial: str) -> Response:
        """What is recorded at the unit's witness points, the oldest first."""
        return Response(_witnesses(serial))

    @extend_schema(request=WitnessBody, responses={201: WitnessRecords, 403: Refusal, 404: Refusal, 409: Refusal})
    def post(self, request: Request, serial: str) -> Response:
        """Record that a witness was asked, was present, or that attendance was waived and why."""
        given = self.read(WitnessBody)
        record_witness(by=self.person, serial=serial, stage_number=given.pop("stage"), at=self.at, **given)
        return Response(_witnesses(serial), status=201)


def _witnesses(serial: str) -> dict[str, Any]:
    rows = [
        {
            "stage": one.stage_number, "what": one.what, "whom": one.whom, "note": one.note,
            "recorded_by": one.by_name, "at": one.at.isoformat(),
        }
        for one in witnesses_of(unit_by_serial(serial).item_id)
    ]  # fmt: skip
    return {"witnesses": rows}
