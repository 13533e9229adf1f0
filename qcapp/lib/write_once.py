"""Rows that are written once, and rows that freeze when an event is recorded.

Two guards stand one behind the other. The model and its queryset refuse with a sentence; behind them the
database's own triggers (`guards.py`) refuse whatever comes past the models. On PostgreSQL the application
role cannot alter them; on SQLite they guard against accident, and the audit chain finds the rest.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Any, ClassVar, NoReturn, Self

from django.db import models

from qcapp.core.errors import Refused


@dataclass(frozen=True)
class FrozenWhen:
    """Freezes the rows of an ordinary table once an event row exists for their parent.

    `parent_column` of the guarded table names the row `parent_key` of `parent_table`. The rows are frozen
    when `event_table` holds a row whose `event_parent_column` names the same parent and for which
    `condition`, plain SQL over the event's columns, holds. All names are database names. A table may be its
    own parent (`parent_column="id"`). Whoever writes the event locks the parent row first
    (`select_for_update`), or a row slips in beside it.
    """

    parent_column: str
    parent_table: str
    event_table: str
    event_parent_column: str
    condition: str
    parent_key: str = "id"


def refuse(model: type[models.Model]) -> NoReturn:
    """Raise the one refusal for every change of a written row."""
    raise Refused(
        "write_once",
        f"A {model._meta.verbose_name} is never changed or deleted. Write a new one that says why.",
        table=model._meta.db_table,
    )


class WriteOnceQuerySet(models.QuerySet[Any]):
    """A queryset that reads and inserts; everything else raises `Refused` with the code `write_once`."""

    def update(self, **values: object) -> NoReturn:
        refuse(self.model)

    def delete(self) -> NoReturn:
        refuse(self.model)

    def bulk_update(self, objs: Iterable[Any], fields: Iterable[str], batch_size: int | None = None) -> NoReturn:
        refuse(self.model)

    def update_or_create(self, *args: object, **kwargs: object) -> NoReturn:
        refuse(self.model)

    def bulk_create(
        self,
        objs: Iterable[Any],
        batch_size: int | None = None,
        ignore_conflicts: bool = False,
        update_conflicts: bool = False,
        update_fields: Collection[str] | None = None,
        unique_fields: Collection[str] | None = None,
    ) -> list[Any]:
        """Insert the rows. Refuses `update_conflicts`, and `ignore_conflicts`, which swallows every
        constraint.
        """
        if update_conflicts or ignore_conflicts:
            refuse(self.model)
        return super().bulk_create(objs, batch_size=batch_size)


WriteOnceManager = models.Manager.from_queryset(WriteOnceQuerySet, "WriteOnceManager")


class WriteOnceModel(models.Model):
    """A table whose rows, once inserted, stand. A correction is a new row that points at the old one."""

    frozen_when: ClassVar[FrozenWhen | None] = None
    objects = WriteOnceManager()

    class Meta:
        abstract = True

    def save(self, **options: Any) -> None:
        """Insert the row. Raises `Refused` (`write_once`) when it is already written."""
        if not self._state.adding:
            refuse(type(self))
        super().save(**(options | {"force_insert": True}))

    def delete(self, using: str | None = None, keep_parents: bool = False) -> NoReturn:
        refuse(type(self))

    def written(self) -> Self:
        """The row as the database holds it now; raises `DoesNotExist` when it is not there."""
        row: Self = type(self)._default_manager.get(pk=self.pk)  # type: ignore[assignment]
        return row
