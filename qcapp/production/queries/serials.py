"""Which units a part of a serial names, along the indexes over serials; best match first."""

from __future__ import annotations

from django.db.models import Case, IntegerField, QuerySet, Value, When

from qcapp.core.identification import lookup_key

from ..models import Unit

LONGEST_FRAGMENT = 40  # no serial is longer


def keys_by_serial(fragment: str, limit: int) -> list[int]:
    """Keys of units whose serial holds the fragment, compared by `lookup_key`; none for a fragment of dashes alone.

    Best match first: the whole serial, then its end, then its beginning, then any part; the newest first in each.
    """
    return [pk for pk, _, _ in _by_serial(fragment, limit)]


def items_by_serial(fragment: str, limit: int) -> list[tuple[int, str]]:
    """Item and serial of these units, in the same order."""
    return [(item, serial) for _, item, serial in _by_serial(fragment, limit)]


Row = tuple[int, int, str]


def _by_serial(fragment: str, limit: int) -> list[Row]:
    key = lookup_key(fragment.replace("\0", ""))
    if not 0 < len(key) <= LONGEST_FRAGMENT:
        return []
    # Those that end with it are alone among a million serials; those that only hold it are many.
    found = _ending_with(key, limit)
    return found if len(found) >= limit else found + _holding(key, limit - len(found))


def _ending_with(key: str, limit: int) -> list[Row]:
    whole = Case(When(lookup=key, then=Value(0)), default=Value(1), output_field=IntegerField())
    return _rows(Unit.objects.filter(lookup__endswith=key).order_by(whole, "-opened_at", "-id"), limit)


def _holding(key: str, limit: int) -> list[Row]:
    begins = Case(When(lookup__startswith=key, then=Value(0)), default=Value(1), output_field=IntegerField())
    found = Unit.objects.filter(lookup__contains=key).exclude(lookup__endswith=key)
    return _rows(found.order_by(begins, "-opened_at", "-id"), limit)


def _rows(units: QuerySet[Unit], limit: int) -> list[Row]:
    return list(units.values_list("pk", "item_id", "serial")[:limit])
