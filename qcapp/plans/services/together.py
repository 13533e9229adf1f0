"""What the writers of plans share: the lock, the event with the state it leads to, the signature.

Lock order: the revision's row, then the states of the family's revisions by key, then the head of the audit
chain. The revision's row is locked before the event that freezes it is written, or a checkpoint slips in
beside it.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from qcapp.core.sealing import canonical, digest
from qcapp.people.roles import Act
from qcapp.people.services import write_signature

from ..cards import RevisionCard
from ..models import PlanRevision, RevisionEvent, RevisionStatus
from ..queries import revision_card

if TYPE_CHECKING:
    from qcapp.people.models import Person, Signature
    from qcapp.people.services import Proof


def locked(revision_uuid: UUID) -> RevisionCard:
    """The revision as it stands, its row and its family's states locked until the transaction ends."""
    found = PlanRevision.objects.select_for_update().filter(uuid=revision_uuid).values_list("pk", "family").first()
    if found:
        list(RevisionStatus.objects.select_for_update().filter(family=found[1]).order_by("pk").values_list("pk"))
    return revision_card(revision_uuid)


def add_event(
    revision_id: int,
    kind: str,
    state: str,
    *,
    by: Person,
    at: datetime,
    content: str,
    reason: str = "",
    signature: Signature | None = None,
) -> None:
    RevisionEvent.objects.create(
        revision_id=revision_id, kind=kind, state=state, by_id=by.pk, at=at, reason=reason,
        signature=signature, content_digest=content,
    )  # fmt: skip
    RevisionStatus.objects.filter(revision=revision_id).update(state=state)


def sign(proof: Proof, act: Act, meaning: str, card: RevisionCard, content: str, at: datetime) -> Signature:
    """A signature that covers the family, the letter, what was meant and the whole content."""
    covers = digest(canonical({"subject": card.subject, "meaning": meaning, "content": content}))
    return write_signature(proof=proof, act=act, meaning=meaning, subject=card.subject, covers=covers, at=at)
