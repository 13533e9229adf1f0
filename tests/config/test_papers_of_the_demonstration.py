"""The demonstration's fixtures and authorisations: one fixture overdue, every inspector authorised."""

from __future__ import annotations

from datetime import timedelta

import pytest

from qcapp.config.demonstration.cast import make_people
from qcapp.config.demonstration.welding import make_papers
from qcapp.lib.site_days import site_day
from qcapp.people.roles import Role
from qcapp.production.queries.authorising import lacking
from qcapp.production.queries.fixtures import fixtures
from tests.cast import FIXED_NOW


@pytest.mark.django_db
def test_has_one_overdue_fixture_and_authorised_inspectors() -> None:
    cast = make_people(FIXED_NOW - timedelta(days=400))
    make_papers(cast, FIXED_NOW)
    assert [one.number for one in fixtures(FIXED_NOW) if not one.usable] == ["RS-01"]
    for turn in range(3):
        person = cast.with_role(Role.INSPECTOR, turn)
        assert [lacking(person.pk, method, site_day(FIXED_NOW)) for method in ("visual", "penetrant")] == ["", ""]
