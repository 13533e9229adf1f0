"""What can be chosen for a family's certificates. Plain values: the service keeps them, issue freezes them."""

from __future__ import annotations

from dataclasses import dataclass

KINDS = {
    "conformity": "Certificate of conformity",
    "summary": "Certificate of conformity, values attached",
    "first_article": "First-article report",
}
TITLES = {
    "conformity": "Certificate of conformity",
    "summary": "Certificate of conformity",
    "first_article": "First-article report",
    "inspection": "Inspection certificate 3.1",  # EN 10204:2004; of lots, never chosen for a unit
}
LANGUAGES = {"en": "English", "de": "Deutsch", "es": "Español", "fr": "Français"}
PAPERS = {"A4": "A4", "letter": "Letter"}
LENGTHS = {"plan": "as the plan measures them", "in": "millimetres shown in inches"}


@dataclass(frozen=True)
class Choice:
    """One family's choice; the defaults hold until the quality manager chooses."""

    kind: str = "conformity"
    language: str = "en"
    paper: str = "A4"
    lengths: str = "plan"
    names: bool = False  # of the people at the bench; the signatory is always named
    welds: bool = True
    cautions: bool = True
    pictures: bool = True
    drawing: bool = False  # ballooned; a first-article report always holds it
    statistics: bool = False  # of the family: a customer sees more than the own unit
    materials: bool = True
    components: bool = True
    reports: bool = True  # concessions are always named
    first_articles: bool = True  # accepted ones get a first-article report, whatever the kind
