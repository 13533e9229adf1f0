"""What a refusal must leave alone: every row of the tables named."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.apps import apps
from django.db import models

from qcapp.core.errors import QcError

Rows = dict[str, list[tuple[Any, ...]]]


def rows_of(*places: str) -> Rows:
    """Every row of the audit chain and of these rooms ("plans") or tables ("people.Signature")."""
    found = [model for place in {*places, "audit"} for model in _models(place)]
    return {model._meta.label: sorted(model._base_manager.values_list(), key=repr) for model in found}


def _models(place: str) -> list[type[models.Model]]:
    """Sessions are none of them: a request that is refused is a day of use too."""
    found = [apps.get_model(place)] if "." in place else apps.get_app_config(place).get_models()
    return [model for model in found if model._meta.label != "people.OpenSession"]


@contextmanager
def refused(code: str, *places: str) -> Iterator[pytest.ExceptionInfo[QcError]]:
    """The block is refused with this code, in a full sentence, and changes no row of these places."""
    before = rows_of(*places)
    with pytest.raises(QcError) as caught:
        yield caught
    assert caught.value.code == code
    assert caught.value.message.endswith((".", "?"))
    assert rows_of(*places) == before


@contextmanager
def unchanged(*places: str) -> Iterator[None]:
    """The block changes no row of these places: what a refusal looks like through the API."""
    before = rows_of(*places)
    yield
    assert rows_of(*places) == before
