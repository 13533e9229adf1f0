"""Many acts appended to the audit chain at once, as `audit.services.record` would one by one. For loading alone."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any, NamedTuple
from uuid import UUID

from django.apps import apps

from qcapp.audit.queries import head
from qcapp.audit.services import utc_text
from qcapp.audit.verbs import Verb
from qcapp.core.sealing import canonical, chain, digest


class Act(NamedTuple):
    """What `record` is told."""

    verb: Verb
    actor: UUID
    subject: str
    at: datetime
    payload: dict[str, Any]


def append(acts: Iterable[Act]) -> None:
    """The acts in their order behind the head, inside the caller's transaction. The chain has begun."""
    entry_of, payload_of = apps.get_model("audit.Entry"), apps.get_model("audit.Payload")
    last = head()
    number, seal = last.number, last.digest
    entries, bodies = [], []
    for act in acts:
        number += 1
        bodies.append(canonical(act.payload))
        header = {
            "actor": str(act.actor), "at": utc_text(act.at), "payload": digest(bodies[-1]), "subject": act.subject,
            "verb": act.verb.value,
        }  # fmt: skip
        text = canonical(header | {"number": number})
        previous, seal = seal, chain(seal, number, text)
        entries.append(
            entry_of(
                number=number, at=act.at, verb=header["verb"], actor=header["actor"], subject=act.subject, header=text,
                payload_digest=header["payload"], previous_digest=previous, digest=seal,
            )
        )  # fmt: skip
    entry_of.objects.bulk_create(entries)
    payload_of.objects.bulk_create(payload_of(entry=one, body=body) for one, body in zip(entries, bodies, strict=True))
    apps.get_model("audit.ChainHead").objects.update(number=number, digest=seal)
