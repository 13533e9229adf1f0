"""The table of who decides what, which the quality manager edits."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act, Role
from qcapp.people.services import require

from ..models import DeciderRule, Report
from ..queries.details import deciders_of
from ..states import MAY_DECIDE, Disposition, too_few

if TYPE_CHECKING:
    from qcapp.people.models import Person


@transaction.atomic
def set_deciders(
    *, by: Person, severity: str, disposition: str, roles: Sequence[str], reason: str, at: datetime
) -> tuple[str, ...]:
    """The roles whose signatures this disposition needs from now on; proposals that wait keep theirs.

    Raises NotAllowed, Invalid `severity_unknown`, `disposition_unknown`, `role_cannot_decide`, Refused
    `too_few_deciders`, `deciders_unchanged`, a code of `plain_text`.
    """
    require(by, Act.SET_DECIDERS, at)
    reason = plain_text("The reason", " ".join(reason.split()), longest=300)
    if severity not in set(Report.Severity.values):
        raise Invalid("severity_unknown", "The severity is critical, major or minor; choose one.")
    if disposition not in set(Disposition):
        raise Invalid("disposition_unknown", f"Choose one of: {', '.join(one.label for one in Disposition)}.")
    chosen = Disposition(disposition)
    if unknown := sorted(set(roles) - MAY_DECIDE):
        raise Invalid("role_cannot_decide", f"{unknown[0][:40]} does not sign dispositions; choose another role.")
    if sentence := too_few(severity, chosen, frozenset(roles)):
        raise Refused("too_few_deciders", sentence)
    ordered = tuple(role.value for role in Role if role in set(roles))
    before = deciders_of(severity, chosen)
    if set(before) == set(ordered):
        raise Refused("deciders_unchanged", "These roles decide it already; nothing was changed.")
    DeciderRule.objects.create(severity=severity, disposition=chosen, roles=list(ordered), reason=reason, by=by, at=at)
    payload = {"before": list(before), "after": list(ordered), "reason": reason}
    subject = f"deciders {severity} {chosen.value}"
    audit.record(verb=Verb.DECIDERS_CHANGED, actor=by.uuid, subject=subject, at=at, payload=payload)
    return ordered
