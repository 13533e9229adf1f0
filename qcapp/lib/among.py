"""The lookup `among`: a key is one of very many, sent as one parameter.

`in` sends a parameter for every key: Django prepares each, the server parses each. For five thousand keys that takes
longer than finding their rows. Keys are whole numbers; like `in`, no key finds nothing.
"""

from __future__ import annotations

import json
from collections.abc import Collection
from typing import Any

from django.db.models import Lookup


class Among(Lookup[Collection[int]]):
    """`column = ANY (array)` on PostgreSQL, `column IN (SELECT value FROM json_each(…))` on SQLite."""

    lookup_name = "among"

    def get_prep_lookup(self) -> list[int]:
        return [int(key) for key in self.rhs]

    def as_postgresql(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        column, params = self.process_lhs(compiler, connection)
        return f"{column} = ANY (%s::bigint[])", [*params, self.rhs]

    def as_sqlite(self, compiler: Any, connection: Any) -> tuple[str, list[Any]]:
        column, params = self.process_lhs(compiler, connection)
        return f"{column} IN (SELECT value FROM json_each(%s))", [*params, json.dumps(self.rhs)]  # noqa: S608 - the column's name, and a marker
