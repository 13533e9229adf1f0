"""The quality manager's choice of what a family's certificates hold."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid
from qcapp.people.roles import Act
from qcapp.people.services import require
from qcapp.production.queries import family_by_code

from ..choices import KINDS, LANGUAGES, LENGTHS, PAPERS, Choice
from ..models import PaperChoice

if TYPE_CHECKING:
    from qcapp.people.models import Person


@transaction.atomic
def choose_paper(*, by: Person, family_code: str, choice: Choice, at: datetime) -> None:
    """What the family's certificates hold from now on. Raises Invalid `choice_unknown`, NotFound, NotAllowed."""
    require(by, Act.CHOOSE_PAPER, at)
    family = family_by_code(family_code)
    for known, chosen in (
        (KINDS, choice.kind),
        (LANGUAGES, choice.language),
        (PAPERS, choice.paper),
        (LENGTHS, choice.lengths),
    ):
        if chosen not in known:
            raise Invalid("choice_unknown", f"“{chosen[:20]}” cannot be chosen; take one of {', '.join(known)}.")
    PaperChoice.objects.create(family_id=family.id, by=by, at=at, **asdict(choice))
    subject = f"family {family.code}"
    audit.record(verb=Verb.PAPER_CHOSEN, actor=by.uuid, subject=subject, at=at, payload=asdict(choice))
