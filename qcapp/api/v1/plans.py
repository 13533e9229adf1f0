"""Inspection plans: reading them, importing a revision, and the acts of its life."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any, ClassVar
from uuid import UUID

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.people.roles import Act
from qcapp.plans import services
from qcapp.plans.cards import CheckpointCard, EventCard, RevisionCard
from qcapp.plans.queries import (
    checkpoints_of,
    differences,
    events_of,
    families_with_plans,
    findings_before_release,
    needs_engineer,
    possible_moves,
    previous_of,
    revision_card,
)
from qcapp.plans.services.beginning import import_plan
from qcapp.production.queries import families
from qcapp.production.services import add_family

from ..acts import ActView, Pin, Refusal, SignedReason
from ..errors import plain


class Revision(serializers.Serializer[Any]):
    uuid = serializers.UUIDField()
    family = serializers.CharField()
    family_name = serializers.CharField()
    letter = serializers.CharField()
    state = serializers.CharField()
    state_label = serializers.CharField()
    change_note = serializers.CharField(allow_blank=True)
    author = serializers.CharField()
    created_at = serializers.DateTimeField()
    released_at = serializers.DateTimeField(allow_null=True)
    checkpoint_count = serializers.IntegerField()


class FamilyPlans(serializers.Serializer[Any]):
    family = serializers.CharField()
    family_name = serializers.CharField()
    released = Revision(allow_null=True)
    coming = Revision(many=True)
    past = Revision(many=True)


class PlanList(serializers.Serializer[Any]):
    plans = FamilyPlans(many=True)


class RevisionDetail(Revision):
    stages = serializers.ListField(child=serializers.DictField())
    documents = serializers.ListField(child=serializers.DictField())
    checkpoints = serializers.ListField(child=serializers.DictField())
    events = serializers.ListField(child=serializers.DictField())
    differences = serializers.ListField(child=serializers.DictField())
    advice = serializers.ListField(child=serializers.DictField())
    needs_engineer = serializers.ListField(child=serializers.IntegerField())
    possible = serializers.ListField(child=serializers.CharField())


class PlanFile(serializers.Serializer[Any]):
    family = serializers.CharField(max_length=20)
    letter = serializers.CharField(max_length=4)
    text = serializers.CharField(max_length=3_000_000, trim_whitespace=False, help_text="the CSV file's text")
    filename = serializers.CharField(max_length=120, required=False, default="plan.csv")
    change_note = serializers.CharField(max_length=300, required=False, allow_blank=True, default="")


class PartFamily(serializers.Serializer[Any]):
    code = serializers.CharField(max_length=20, help_text="capitals, digits and dashes, such as FR-200")
    name = serializers.CharField(max_length=80)
    serial_pattern = serializers.CharField(max_length=60, help_text="such as FR-200-{number:4}")
    certificate_prefix = serializers.CharField(max_length=12, help_text="certificate numbers begin with it")


class PartFamilies(serializers.Serializer[Any]):
    families = PartFamily(many=True)


class Reason(serializers.Serializer[Any]):
    reason = serializers.CharField(max_length=300)


class Nothing(serializers.Serializer[Any]):
    """An act that needs no more than its address."""


class FamiliesView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN, "POST": Act.IMPORT_PLAN}

    @extend_schema(responses={200: PartFamilies, 401: Refusal}, operation_id="FamilyList")
    def get(self, request: Request) -> Response:
        """Every part family, by code, with the pattern of its serials."""
        return Response({"families": PartFamily(families(), many=True).data})

    @extend_schema(request=PartFamily, responses={201: PartFamily, 400: Refusal, 403: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """A new part family; its first plan is imported next. Code and patterns are never changed."""
        added = add_family(by=self.person, at=self.at, **self.read(PartFamily))
        return Response(PartFamily(added).data, status=201)


class PlansView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN, "POST": Act.IMPORT_PLAN}

    @extend_schema(responses={200: PlanList, 401: Refusal}, operation_id="PlanList")
    def get(self, request: Request) -> Response:
        """Every family with its released revision, those before release and those after."""
        found = [
            {
                "family": family.family_code,
                "family_name": family.family_name,
                "released": revision_json(family.released) if family.released else None,
                "coming": [revision_json(card) for card in family.coming],
                "past": [revision_json(card) for card in family.past],
            }
            for family in families_with_plans()
        ]
        return Response({"plans": found})

    @extend_schema(request=PlanFile, responses={201: Revision, 400: Refusal, 403: Refusal, 409: Refusal})
    def post(self, request: Request) -> Response:
        """Import a plan file as a draft. Every error of the file comes with its line and column in `details`."""
        given = self.read(PlanFile)
        card = import_plan(
            by=self.person,
            family_code=given["family"],
            letter=given["letter"],
            text_or_bytes=given["text"],
            filename=given["filename"],
            change_note=given["change_note"],
            at=self.at,
        )
        return Response(revision_json(card), status=201)


class PlanView(ActView):
    act = {"GET": Act.LOOK_AT_PLAN}

    @extend_schema(responses={200: RevisionDetail, 404: Refusal})
    def get(self, request: Request, uuid: UUID) -> Response:
        """One revision with its checkpoints, its events, and what it changes."""
        card = revision_card(uuid)
        previous, checkpoints = previous_of(card.id), checkpoints_of(card.id)
        body = revision_json(card) | {
            "stages": [plain(asdict(stage)) for stage in card.stages],
            "documents": [plain(asdict(document)) for document in card.documents],
            "checkpoints": [checkpoint_json(checkpoint) for checkpoint in checkpoints],
            "events": [_event(event) for event in events_of(card.id)],
            "differences": [one.to_json() for one in differences(previous.id if previous else None, card.id)],
            "advice": [plain(asdict(finding)) for finding in findings_before_release(card, checkpoints, self.at)],
            "needs_engineer": needs_engineer(card.id),
            "possible": possible_moves(card.id),
        }
        return Response(body)


class PlanActView(ActView):
    """One act on a revision; what it takes and does stands in ACTS of the plan's life."""

    shape: ClassVar[type[serializers.Serializer[Any]]] = Nothing
    perform: ClassVar[Callable[[ActView, UUID, dict[str, Any]], RevisionCard]]

    def answer(self, uuid: UUID) -> Response:
        """Do it, and give the revision as it is afterwards."""
        given = self.read(self.shape)
        return Response(revision_json(type(self).perform(self, uuid, given)))


def _plan_act(
    name: str,
    act: Act,
    shape: type[serializers.Serializer[Any]],
    perform: Callable[[ActView, UUID, dict[str, Any]], RevisionCard],
    summary: str,
) -> type[PlanActView]:
    """A view for one act; the classes differ in nothing else."""

    @extend_schema(
        request=shape,
        responses={200: Revision, 403: Refusal, 404: Refusal, 409: Refusal},
        summary=summary,
        operation_id=name.removesuffix("View"),
    )
    def post(self: PlanActView, request: Request, uuid: UUID) -> Response:
        return self.answer(uuid)

    parts = {"act": {"POST": act}, "shape": shape, "perform": staticmethod(perform), "post": post}
    return type(name, (PlanActView,), parts)


ReviewView = _plan_act(
    "PlanReviewView",
    Act.SEND_PLAN_FOR_REVIEW,
    Nothing,
    lambda view, uuid, given: services.send_for_review(by=view.person, revision_uuid=uuid, at=view.at),
    "Send a draft for review",
)
ReturnView = _plan_act(
    "PlanReturnView",
    Act.SEND_PLAN_FOR_REVIEW,
    Reason,
    lambda view, uuid, given: services.return_to_draft(
        by=view.person, revision_uuid=uuid, reason=given["reason"], at=view.at
    ),
    "Return a revision to its author",
)
ApproveView = _plan_act(
    "PlanApproveView",
    Act.APPROVE_PLAN,
    Pin,
    lambda view, uuid, given: services.approve(proof=view.proof(given["pin"]), revision_uuid=uuid, at=view.at),
    "Approve limits and methods of critical checkpoints, signed",
)


class PlanRelease(Pin):
    """A release; at once, or for units opened from a day or from a running number on."""

    from_day = serializers.DateField(required=False, allow_null=True, default=None)
    from_number = serializers.IntegerField(required=False, allow_null=True, default=None, min_value=1)


ReleaseView = _plan_act(
    "PlanReleaseView",
    Act.RELEASE_PLAN,
    PlanRelease,
    lambda view, uuid, given: services.release(
        proof=view.proof(given.pop("pin")), revision_uuid=uuid, at=view.at, **given
    ),
    "Release a revision, signed",
)
WithdrawView = _plan_act(
    "PlanWithdrawView",
    Act.RELEASE_PLAN,
    SignedReason,
    lambda view, uuid, given: services.withdraw(
        proof=view.proof(given["pin"]), revision_uuid=uuid, reason=given["reason"], at=view.at
    ),
    "Withdraw a revision, signed",
)


def revision_json(card: RevisionCard) -> dict[str, Any]:
    """One revision as plain values."""
    return {
        "uuid": str(card.uuid),
        "family": card.family_code,
        "family_name": card.family_name,
        "letter": card.letter,
        "state": card.state,
        "state_label": card.state_label,
        "change_note": card.change_note,
        "author": card.author_name,
        "created_at": card.created_at.isoformat(),
        "released_at": card.released_at.isoformat() if card.released_at else None,
        "checkpoint_count": card.checkpoint_count,
    }


HIDDEN_FIELDS = ("id", "spec", "stage_id", "characteristic_id", "balloon", "picture")  # those of `drawings`


def checkpoint_json(card: CheckpointCard) -> dict[str, Any]:
    """One checkpoint as plain values, its specification as the plan stores it."""
    names = [name for name in card.__dataclass_fields__ if name not in HIDDEN_FIELDS]
    found: dict[str, Any] = plain({name: getattr(card, name) for name in names})
    found["specified"] = found.pop("spec_json")
    return found


def _event(event: EventCard) -> dict[str, Any]:
    found: dict[str, Any] = plain(asdict(event))
    del found["by_id"]
    return found
