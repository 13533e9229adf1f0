"""Columns whose stored form has to be exact: typed values as text, states from their table, time-ordered
identifiers.
"""

from __future__ import annotations

import uuid
from decimal import Decimal, InvalidOperation
from enum import StrEnum
from typing import TYPE_CHECKING, Any

import uuid_utils.compat
from django.core.exceptions import ValidationError
from django.db import models

DIGITS_LENGTH = 40
COMPARABLE = frozenset({"exact", "isnull"})


def uuid7() -> uuid.UUID:
    """A new UUID of version 7 (RFC 9562, 5.7): its first 48 bits are the milliseconds since 1970, so keys
    stay in order.
    """
    return uuid_utils.compat.uuid7()


def exact_decimal(value: object) -> Decimal:
    """The finite decimal that was meant, digit for digit. Raises `ValidationError` (`digits`); floats are
    refused.
    """
    if isinstance(value, bool | float) or not isinstance(value, Decimal | int | str):
        raise ValidationError("A value is stored as its decimal digits; give a Decimal or text.", code="digits")
    try:
        number = Decimal(value)
    except InvalidOperation as error:
        raise ValidationError(f"{value!r} is not a decimal number.", code="digits") from error
    if not number.is_finite():
        raise ValidationError(f"{value!r} is not a finite number.", code="digits")
    return number


if TYPE_CHECKING:
    from django.db.models.expressions import Combinable

    TextColumn = models.CharField[Decimal | int | str | Combinable | None, Any]
else:
    TextColumn = models.CharField  # Django's own class takes no types at run time


class DecimalTextField(TextColumn):
    """A Decimal kept as text: 12.50 comes back as 12.50, on SQLite too, where a decimal column is a binary
    float.

    SQL must not compare such text, so every lookup but `exact` (the same digits) and `isnull` is refused by
    Django.
    """

    if TYPE_CHECKING:  # what django-stubs reads; None belongs to the columns that may be empty
        _pyi_private_set_type: Decimal | int | str | Combinable | None  # type: ignore[assignment]
        _pyi_private_get_type: Any

    def __init__(self, *args: Any, **options: Any) -> None:
        options.setdefault("max_length", DIGITS_LENGTH)
        super().__init__(*args, **options)

    def from_db_value(self, value: str | None, expression: object, connection: object) -> Decimal | None:
        return None if value is None else Decimal(value)

    def to_python(self, value: object) -> Any:
        return None if value is None or value == "" else exact_decimal(value)

    def get_prep_value(self, value: object) -> Any:
        number = self.to_python(value)
        return None if number is None else format(number, "f")

    def value_to_string(self, obj: models.Model) -> str:
        return self.get_prep_value(self.value_from_object(obj)) or ""

    def run_validators(self, value: Any) -> None:
        super().run_validators(value if value in self.empty_values else format(value, "f"))

    def get_lookup(self, lookup_name: str) -> Any:
        return super().get_lookup(lookup_name) if lookup_name in COMPARABLE else None


def state_field(states: type[StrEnum], initial: StrEnum | None = None, **options: Any) -> models.CharField[Any, Any]:
    """A text column for one of `states`. Pair it with `state_is_known` in the model's constraints."""
    if initial is not None:
        options["default"] = initial.value
    return models.CharField(max_length=max(32, *(len(state.value) for state in states)), **options)


def state_is_known(column: str, states: type[StrEnum], *, name: str) -> models.CheckConstraint:
    """The database constraint that `column` holds one of `states`."""
    return models.CheckConstraint(condition=models.Q(**{f"{column}__in": [state.value for state in states]}), name=name)
