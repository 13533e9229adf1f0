"""The published JSON Schema: the frozen content fits it, by an independent validator."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from django.test import Client

from qcapp.certificates.content_schema import content_schema
from qcapp.certificates.queries import content_of

from ..factories.certificates import certified, release_unit
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case

PUBLISHED = Path(__file__).resolve().parent.parent.parent / "docs" / "certificate-1.schema.json"


def test_is_the_published_one() -> None:
    assert json.loads(PUBLISHED.read_text(encoding="utf-8")) == content_schema()
    jsonschema.Draft202012Validator.check_schema(content_schema())


def test_is_given_to_everybody(client: Client) -> None:
    answer = client.get("/certificates/schema/1.json")
    assert answer["Content-Type"] == "application/schema+json"
    assert answer.json() == content_schema()


@pytest.mark.django_db
def test_fits_what_certificates_say(workshop: Workshop) -> None:
    Case.out_of_band(workshop).decide("use_as_is").close_without_correction()
    workshop.send(*[workshop.operation(key) for key in ("left_length", "right_length", "tack_look")])
    workshop.sign(1)
    for stage in (2, 3):
        workshop.answer_stage(stage)
        workshop.sign(stage)
    says = content_of(certified(release_unit(workshop)).id)
    validator = jsonschema.Draft202012Validator(content_schema())
    assert list(validator.iter_errors(says)) == []
    del says["identity"]["serial"]
    assert len(list(validator.iter_errors(says))) == 1
