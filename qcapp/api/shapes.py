"""Cards of the readers as JSON, and the shape that describes them: both from the card's own fields, so they agree.

Keys of the database (`id`, `…_id`) stay inside. Numbers that somebody typed travel as text, times with their zone.
"""

from __future__ import annotations

import base64
import binascii
import types
from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import cache
from typing import Any, Union, get_args, get_origin, get_type_hints
from uuid import UUID

from rest_framework import serializers

from qcapp.core.errors import Invalid

PLAIN: dict[type, type[serializers.Field[Any, Any, Any, Any]]] = {
    bool: serializers.BooleanField,
    int: serializers.IntegerField,
    float: serializers.FloatField,
    datetime: serializers.DateTimeField,
    date: serializers.DateField,
    UUID: serializers.UUIDField,
}


def as_json(value: Any) -> Any:
    """A card, or any value of one, as JSON has it."""
    if is_dataclass(value) and not isinstance(value, type):
        return {name: as_json(getattr(value, name)) for name in _shown(type(value))}
    if isinstance(value, dict):
        return {str(key): as_json(entry) for key, entry in value.items()}
    if isinstance(value, list | tuple):
        return [as_json(entry) for entry in value]
    if isinstance(value, set | frozenset):
        return sorted(as_json(entry) for entry in value)
    if isinstance(value, Decimal):
        return format(value, "f")
    if isinstance(value, datetime | date):
        return value.isoformat()
    return value if value is None or isinstance(value, bool | int | float) else str(value)


def _shown(card: type) -> list[str]:
    return [one.name for one in fields(card) if one.name != "id" and not one.name.endswith("_id")]


@cache
def shape_of(card: type) -> type[serializers.Serializer[Any]]:
    """The serializer that describes `as_json` of such a card. A card inside its own kind is any object."""
    hints = get_type_hints(card)
    declared = {name: _field(hints[name], card) for name in _shown(card)}
    return type(card.__name__, (serializers.Serializer,), declared | {"__doc__": card.__doc__})


def _field(hint: Any, inside: type, **options: Any) -> serializers.Field[Any, Any, Any, Any]:
    origin, arguments = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        (first,) = [one for one in arguments if one is not type(None)]
        return _field(first, inside, allow_null=True)
    if origin in (list, tuple, set, frozenset):
        return _many(arguments, inside, options)
    if origin is dict or hint is dict:
        return serializers.DictField(**options)
    if is_dataclass(hint):
        return serializers.DictField(**options) if hint is inside else shape_of(hint)(**options)
    if hint is Any:
        return serializers.JSONField(**options)
    if hint in PLAIN:
        return PLAIN[hint](**options)
    return serializers.CharField(allow_blank=True, **options)


def _many(arguments: tuple[Any, ...], inside: type, options: dict[str, Any]) -> serializers.Field[Any, Any, Any, Any]:
    kinds = {one for one in arguments if one is not ...}
    if len(kinds) > 1:
        return serializers.ListField(**options)
    (only,) = kinds
    if is_dataclass(only) and only is not inside:
        return shape_of(only)(many=True, **options)
    return serializers.ListField(child=_field(only, inside), **options)


def answer_shape(name: str, /, **parts: Any) -> type[serializers.Serializer[Any]]:
    """The shape of an answer with named parts: a card, or with `list[card]` several."""
    declared: dict[str, Any] = {key: _field(hint, object) for key, hint in parts.items()}
    return type(name, (serializers.Serializer,), declared)


def answer(**parts: Any) -> dict[str, Any]:
    """An answer with named parts as JSON."""
    return {name: as_json(list(part) if isinstance(part, Iterable) and not isinstance(part, str | dict) else part)
            for name, part in parts.items()}  # fmt: skip


def content_of(text: str) -> bytes:
    """The file that stands in a body in base64. Raises Invalid `content_unreadable`."""
    try:
        return base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError) as error:
        raise Invalid("content_unreadable", "“content” is not base64; send the file's bytes so.") from error
