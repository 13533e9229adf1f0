"""A caller of the API whose answers are held against the API's own description, and a unit to call about."""

from __future__ import annotations

import copy
import json
from functools import lru_cache
from typing import Any

import jsonschema
import pytest
from django.http import HttpResponse
from django.test import Client
from django.urls import resolve
from drf_spectacular.generators import SchemaGenerator
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

from qcapp.people.models import Person

from ..cast import PIN, Cast
from ..factories.inspections import Workshop

PREFIX = "/api/v1/"


@lru_cache(maxsize=1)
def description() -> dict[str, Any]:
    """The OpenAPI description of the API."""
    return SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]


@lru_cache(maxsize=1)
def _registry() -> Registry[Any]:
    """The description's shapes, in which a field that is not declared is an error."""
    strict = copy.deepcopy(description())
    for shape in strict["components"]["schemas"].values():
        if "properties" in shape:
            shape.setdefault("additionalProperties", False)
    return Registry().with_resource("urn:api", Resource(contents=strict, specification=DRAFT202012))


def check_shape(method: str, route: str, response: HttpResponse) -> None:
    """Fails when an answer is not what the description says about its address, method and status."""
    operation = description()["paths"]["/api/" + route][method]
    declared = operation["responses"].get(str(response.status_code))
    if declared is None:
        assert response.status_code >= 400, f"{method} {route} does not declare {response.status_code}"
        declared = {"content": {"application/json": {"schema": {"$ref": "#/components/schemas/Refusal"}}}}
    content = declared.get("content", {}).get("application/json")
    if content is None:
        return
    shape = json.loads(json.dumps(content["schema"]).replace('"#/', '"urn:api#/'))
    jsonschema.Draft202012Validator(shape, registry=_registry()).validate(json.loads(response.content))


class Api:
    """Somebody's program: `api.get("units")`, `api.post("operations", …)`. `status` is that of the last answer."""

    def __init__(self, client: Client) -> None:
        self.client = client
        self.status = 0
        self.response = HttpResponse()

    def get(self, path: str, **query: str) -> Any:
        return self._answer("get", path, self.client.get(PREFIX + path, query))

    def post(self, path: str, body: Any = None) -> Any:
        sent = json.dumps({} if body is None else body)
        return self._answer("post", path, self.client.post(PREFIX + path, sent, content_type="application/json"))

    def delete(self, path: str) -> Any:
        return self._answer("delete", path, self.client.delete(PREFIX + path))

    def signed(self, path: str, **body: Any) -> Any:
        """A post with the PIN of the cast."""
        return self.post(path, body | {"pin": PIN})

    def _answer(self, method: str, path: str, response: Any) -> Any:
        self.response, self.status = response, response.status_code
        route = resolve(PREFIX + path).route.removeprefix("api/")
        for converter in ("<str:", "<uuid:", "<int:", "<slug:"):
            route = route.replace(converter, "{")
        check_shape(method, route.replace(">", "}"), response)
        is_json = response.headers.get("Content-Type", "").startswith("application/json")
        return json.loads(response.content) if is_json else response.content


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    """FR-200-0147 on plan revision D, nothing answered yet, as of now: the API takes the server's time."""
    from django.utils import timezone

    return Workshop.opened(cast, timezone.now())


@pytest.fixture
def api_of(client_of: Any) -> Any:
    """`api_of(person)`: a program in which the person has signed in."""

    def sign_in(person: Person) -> Api:
        return Api(client_of(person))

    return sign_in


@pytest.fixture
def stranger() -> Api:
    """A program in which nobody has signed in."""
    return Api(Client())
