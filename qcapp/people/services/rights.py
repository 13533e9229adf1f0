"""What a person may do at a time, and the signature of whoever proved who they are."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime

from qcapp.core.errors import Invalid, NotAllowed, Refused

from .. import queries
from ..models import Person, Signature
from ..queries import RoleHeld
from ..roles import ACTS, Act, Role
from .proofs import Proof

DIGEST = re.compile(r"[0-9a-f]{64}")


def require(person: Person, act: Act, at: datetime) -> RoleHeld:
    """The role in which the person may do the act; an own role before a deputy's.

    Raises NotAllowed (`not_permitted`) with a sentence that names who may, and Refused
    (`password_is_temporary`) while the person has not replaced a password that somebody else set.
    """
    if person.password_is_temporary:
        raise Refused("password_is_temporary", "Replace your temporary password under My account first.")
    return _role_for(person, act, at, None)


def write_signature(
    *, proof: Proof, act: Act, role: Role | None = None, meaning: str, subject: str, covers: str, at: datetime
) -> Signature:
    """The signature of a proven person, inside the caller's transaction, which also writes the audit entry.

    `role` picks in which of the person's roles it is given when several fit; `covers` is the SHA-256 of what
    is signed. Raises NotAllowed (`not_permitted`) and Invalid (`covers_no_digest`).
    """
    held = _role_for(proof.person, act, at, role)
    if not DIGEST.fullmatch(covers):
        raise Invalid("covers_no_digest", "A signature covers a SHA-256 digest in 64 hexadecimal digits.")
    signature = Signature(
        person=proof.person,
        role=held.role,
        deputy_for=held.deputy_for,
        act=act.value,
        meaning=meaning,
        subject=subject,
        covers=covers,
        method=proof.method,
        at=at,
    )
    signature.save()
    return signature


def _role_for(person: Person, act: Act, at: datetime, role: Role | None) -> RoleHeld:
    fitting = ACTS[act] if role is None else ACTS[act] & {role}
    held = [held for held in queries.roles_of(person, at) if held.role in fitting]
    if not held:
        raise _not_permitted(person, act, fitting or ACTS[act])
    return min(held, key=queries.own_roles_first)


def _not_permitted(person: Person, act: Act, roles: Iterable[Role]) -> NotAllowed:
    who = [role for role in Role if role in set(roles)]
    labels = " or ".join(role.label for role in who)
    return NotAllowed(
        "not_permitted",
        f"{person.name} may not {act.value} today. This is for: {labels}.",
        act=act.value,
        roles=[role.value for role in who],
    )
