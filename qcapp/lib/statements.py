"""Statements of paths that are taken for every result: composed once and asked again, a row in by one statement.

Django composes a query anew each time, which takes longer than the database takes to answer it.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from functools import cache
from typing import TYPE_CHECKING, Any

from django.db import connection

if TYPE_CHECKING:
    from django.db.models import Model, QuerySet

Row = tuple[Any, ...]


class Prepared:
    """A query by columns, composed once for each kind of database; called with the values it differs by.

    `sample` gives a value of each kind that stands nowhere else in the query. Whole numbers, texts and days; rows come
    as the database gives them (JSON as text).
    """

    def __init__(self, build: Callable[..., QuerySet[Any, Any]], **sample: int | str | date) -> None:
        self._build, self._sample = build, sample
        self._composed: dict[str, tuple[str, list[str], list[Any]]] = {}

    def __call__(self, **values: int | str | date) -> list[Row]:
        """The rows for these values."""
        vendor = connection.vendor
        if vendor not in self._composed:
            self._composed[vendor] = self._compose()
        sql, names, constants = self._composed[vendor]
        pairs = zip(names, constants, strict=True)
        with connection.cursor() as cursor:
            cursor.execute(sql, [_adapted(values[name]) if name else constant for name, constant in pairs])
            return list(cursor.fetchall())

    def _compose(self) -> tuple[str, list[str], list[Any]]:
        """The statement, and for each of its places the name of the value it takes, or what stands there always."""
        sql, given = self._build(**self._sample).query.sql_with_params()
        known = {_adapted(value): name for name, value in self._sample.items()}
        names = [known.get(one, "") if isinstance(one, int | str | date) else "" for one in given]
        return sql, names, list(given)


def _adapted(value: int | str | date) -> Any:
    if isinstance(value, date):
        return connection.ops.adapt_datefield_value(value)
    return str(value) if isinstance(value, str) else value


def add_row(model: type[Model], **columns: Any) -> int:
    """Insert one row by its columns (`item_id`, not `item`) and give its key; what is not named takes its default.

    Without an instance and its signals: for rows that nothing listens to.
    """
    sql, fields = _insertion(model, tuple(columns), connection.vendor)
    values = [columns[f.attname] if f.attname in columns else f.get_default() for f in fields]
    pairs = zip(fields, values, strict=True)
    with connection.cursor() as cursor:
        cursor.execute(sql, [field.get_db_prep_save(value, connection) for field, value in pairs])
        return int(cursor.fetchone()[0])


@cache
def _insertion(model: type[Model], named: tuple[str, ...], vendor: str) -> tuple[str, list[Any]]:
    """The statement for these columns and all that have a default. Raises ValueError for a column there is not."""
    fields: list[Any] = [one for one in model._meta.concrete_fields if not one.primary_key]
    unknown = set(named) - {one.attname for one in fields}
    if unknown:
        raise ValueError(f"{model.__name__} has no column {min(unknown)}.")
    quote = connection.ops.quote_name
    columns = ", ".join(quote(one.column) for one in fields)
    places = ", ".join(["%s"] * len(fields))
    table, key = quote(model._meta.db_table), quote(str(model._meta.pk and model._meta.pk.column))
    return f"INSERT INTO {table} ({columns}) VALUES ({places}) RETURNING {key}", fields  # noqa: S608 - names of ours
