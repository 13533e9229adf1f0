"""What `manage.py setup` asks about language, units and paper is what a family, a plan and a paper begin with."""

from __future__ import annotations

import pytest
from pytest_django import Settings

from qcapp.certificates.queries import paper_choice
from qcapp.lib.printing import LETTER, paper
from qcapp.people import services
from qcapp.production.queries import family_by_code
from tests.cast import FIXED_NOW, Cast
from tests.factories.inspections import Workshop


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    return Workshop.opened(cast)


def test_begins_with_what_the_site_chose(workshop: Workshop, settings: Settings) -> None:
    family = family_by_code("FR-200").id
    assert (paper_choice(family).language, paper_choice(family).paper, paper_choice(family).lengths) == (
        "en",
        "A4",
        "plan",
    )
    settings.QCAPP_SITE_LANGUAGE, settings.QCAPP_SITE_PAPER, settings.QCAPP_SITE_LENGTHS = "fr", "letter", "in"
    chosen = paper_choice(family)
    assert (chosen.language, chosen.paper, chosen.lengths) == ("fr", "letter", "in")


@pytest.mark.parametrize(("site", "person"), [("en", "en"), ("de", "de"), ("es", "es"), ("fr", "en")])
def test_speaks_to_new_people_in_the_language_of_the_site(
    cast: Cast, settings: Settings, site: str, person: str
) -> None:
    settings.QCAPP_SITE_LANGUAGE = site
    newcomer = services.add_person(by=None, badge="2001", name="Florian Beck-Amsel", initials="FB", at=FIXED_NOW)
    assert newcomer.language == person


@pytest.mark.parametrize(
    ("site", "template", "letter"), [("A4", "", False), ("letter", "", True), ("letter", "@page", False)]
)
def test_prints_on_the_paper_of_the_site(
    settings: Settings, monkeypatch: pytest.MonkeyPatch, site: str, template: str, letter: bool
) -> None:
    """Unless the template itself says on which."""
    html = f"<html><head><style>{template}</style></head></html>"
    monkeypatch.setattr("qcapp.lib.printing.render_to_string", lambda name, context: html)
    settings.QCAPP_SITE_PAPER = site
    assert (f"{LETTER}</head>" in paper("any.html", {})) is letter
