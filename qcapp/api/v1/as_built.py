"""What is in a unit, where it is, and what is stamped on it."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from qcapp.evidence.services.keeping import keep_picture
from qcapp.goods.services.verifying import issue_material
from qcapp.lib.middleware import client_address
from qcapp.people.queries import person_by_badge
from qcapp.people.roles import Act
from qcapp.people.services import prove_identity
from qcapp.production.queries import unit_by_serial
from qcapp.production.queries.as_built import InstalledCard, Node, UsedCard, installed_in, tree_of, used_in
from qcapp.production.queries.places import MarkCard, PlaceCard, WhereCard, marks_of, moves_of, places
from qcapp.production.services.components import install_component, remove_component
from qcapp.production.services.places import ReadBack, add_place, mark_part, move_item

from ..acts import ActView, Refusal
from ..shapes import answer, answer_shape, as_json, content_of, shape_of

BAD = {400: Refusal, 403: Refusal, 404: Refusal, 409: Refusal}
AsBuilt = answer_shape(
    "AsBuilt",
    serial=str,
    tree=Node,
    components=list[InstalledCard],
    used=list[UsedCard],
    marks=list[MarkCard],
    moves=list[WhereCard],
)
Places = answer_shape("Places", places=list[PlaceCard])


class ComponentBody(serializers.Serializer[Any]):
    component = serializers.CharField(max_length=40)
    link = serializers.CharField(max_length=16, help_text="trial_fitted, delivered_with or welded_in")
    place = serializers.CharField(max_length=20, allow_blank=True, default="")


class ComponentOut(serializers.Serializer[Any]):
    component = serializers.CharField(max_length=40)
    reason = serializers.CharField(max_length=300)


class MaterialBody(serializers.Serializer[Any]):
    lot_code = serializers.CharField(max_length=36, allow_blank=True, default="")
    heat_number = serializers.CharField(max_length=40, allow_blank=True, default="")
    use = serializers.CharField(max_length=80, allow_blank=True, default="")
    quantity = serializers.IntegerField(allow_null=True, default=None)


class MarkBody(serializers.Serializer[Any]):
    kind = serializers.CharField(max_length=8, help_text="tag, serial or vin")
    text = serializers.CharField(max_length=40)
    read_back_by = serializers.CharField(max_length=20, allow_blank=True, default="", help_text="another's badge")
    read_back_pin = serializers.CharField(max_length=12, allow_blank=True, default="", help_text="of that person")
    read_back_text = serializers.CharField(max_length=40, allow_blank=True, default="", help_text="as read on the part")
    read_back_tag = serializers.CharField(max_length=40, allow_blank=True, default="", help_text="the tag, as read")
    name = serializers.CharField(max_length=120, default="mark.jpg")
    content = serializers.CharField(allow_blank=True, default="", help_text="the photo in base64")


class PlaceBody(serializers.Serializer[Any]):
    code = serializers.CharField(max_length=20)
    name = serializers.CharField(max_length=80)


class MoveBody(serializers.Serializer[Any]):
    code = serializers.CharField(max_length=40, help_text="serial or lot")
    place = serializers.CharField(max_length=20)


class AsBuiltView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT}

    @extend_schema(responses={200: AsBuilt, 404: Refusal})
    def get(self, request: Request, serial: str) -> Response:
        """The tree of a unit, its components with those taken out again, lots and heats, marks and places."""
        return Response(_as_built(serial))


class ComponentsView(ActView):
    act = {"POST": Act.BUILD_IN}

    @extend_schema(request=ComponentBody, responses={201: AsBuilt} | BAD)
    def post(self, request: Request, serial: str) -> Response:
        """Install a component."""
        given = self.read(ComponentBody)
        install_component(
            by=self.person, serial=serial, component_serial=given["component"], link=given["link"],
            place_code=given["place"], at=self.at,
        )  # fmt: skip
        return Response(_as_built(serial), status=201)


class ComponentOutView(ActView):
    act = {"POST": Act.BUILD_IN}

    @extend_schema(request=ComponentOut, responses={201: AsBuilt} | BAD)
    def post(self, request: Request, serial: str) -> Response:
        """Take a component out again, with the reason."""
        given = self.read(ComponentOut)
        remove_component(
            by=self.person, serial=serial, component_serial=given["component"], reason=given["reason"], at=self.at
        )
        return Response(_as_built(serial), status=201)


class MaterialsView(ActView):
    act = {"POST": Act.BUILD_IN}

    @extend_schema(request=MaterialBody, responses={201: AsBuilt} | BAD)
    def post(self, request: Request, serial: str) -> Response:
        """A lot or a heat went into the unit."""
        issue_material(by=self.person, serial=serial, at=self.at, **self.read(MaterialBody))
        return Response(_as_built(serial), status=201)


class MarksView(ActView):
    act = {"POST": Act.BUILD_IN}

    @extend_schema(request=MarkBody, responses={201: AsBuilt} | BAD)
    def post(self, request: Request, serial: str) -> Response:
        """A tag, or the serial or VIN stamped and read back by another person, with a photo."""
        given = self.read(MarkBody)
        content, name = given.pop("content"), given.pop("name")
        read = self._read_back(given)
        picture = content_of(content)
        photo = keep_picture(by=self.person, content=picture, name=name, at=self.at).id if picture else None
        mark_part(by=self.person, serial=serial, read_back=read, photo_id=photo, at=self.at, **given)
        return Response(_as_built(serial), status=201)

    def _read_back(self, given: dict[str, Any]) -> ReadBack | None:
        """What the other person read, proven by that person's own PIN; None where nobody did."""
        badge, pin, text, tag = (given.pop(f"read_back_{name}") for name in ("by", "pin", "text", "tag"))
        if not badge:
            return None
        address = client_address(self.django_request)
        proof = prove_identity(person=person_by_badge(badge), secret=pin, method="pin", at=self.at, address=address)
        return ReadBack(proof, text, tag)


class PlacesView(ActView):
    act = {"GET": Act.LOOK_UP_UNIT, "POST": Act.KEEP_PLACES}

    @extend_schema(operation_id="PlaceList", responses={200: Places})
    def get(self, request: Request) -> Response:
        """Every place."""
        return Response(answer(places=places()))

    @extend_schema(request=PlaceBody, responses={201: shape_of(PlaceCard)} | BAD)
    def post(self, request: Request) -> Response:
        """Name a place."""
        return Response(as_json(add_place(by=self.person, at=self.at, **self.read(PlaceBody))), status=201)


class MovesView(ActView):
    act = {"POST": Act.MOVE_ITEM}

    @extend_schema(request=MoveBody, responses={201: shape_of(WhereCard)} | BAD)
    def post(self, request: Request) -> Response:
        """Put a unit or lot in a place."""
        given = self.read(MoveBody)
        card = move_item(by=self.person, code=given["code"], place_code=given["place"], at=self.at)
        return Response(as_json(card), status=201)


def _as_built(serial: str) -> dict[str, Any]:
    unit = unit_by_serial(serial)
    item = [unit.item_id]
    return answer(
        serial=unit.serial, tree=tree_of(unit), components=installed_in(item, removed=True), used=used_in(item),
        marks=marks_of(unit.item_id), moves=moves_of(unit.item_id),
    )  # fmt: skip
