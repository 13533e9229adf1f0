"""Which units a part of a serial names, as keys, along the indexes over serials; best match first."""

from __future__ import annotations

from django.db.models import Case, IntegerField, Value, When

from ..models import Unit


def keys_ending_with(key: str, limit: int) -> list[int]:
    """Keys of units, the whole serial first. Alone among a million serials; those that only hold the text are many."""
    whole = Case(When(lookup=key, then=Value(0)), default=Value(1), output_field=IntegerField())
    found = Unit.objects.filter(lookup__endswith=key).order_by(whole, "-opened_at", "-id")
    return list(found.values_list("pk", flat=True)[:limit])


def keys_holding(key: str, limit: int) -> list[int]:
    """Keys of units whose serial holds the text elsewhere than at its end, those that begin with it first."""
    begins = Case(When(lookup__startswith=key, then=Value(0)), default=Value(1), output_field=IntegerField())
    found = Unit.objects.filter(lookup__contains=key).exclude(lookup__endswith=key)
    return list(found.order_by(begins, "-opened_at", "-id").values_list("pk", flat=True)[:limit])
