"""What belongs to whoever entered it and may be sent by anybody, so that nobody's entries wait for their owner.

The tablet signs address and body with the owner's key when it is entered; the proof travels in the head
`X-Entry-Proof`. See docs/decisions/0057.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any, ClassVar

from django.db import transaction
from django.urls import Resolver404, resolve
from django.utils.functional import cached_property
from rest_framework import serializers

from qcapp.core.errors import Invalid
from qcapp.people.services import require
from qcapp.people.services.entry_proofs import owner_of_body

from .acts import ActView

if TYPE_CHECKING:
    from qcapp.people.models import Person

HEAD = "X-Entry-Proof"
CONTENT = "content"  # a photo's bytes; the tablet signs their digest


class ProvenView(ActView):
    """A view whose `person` is the owner of the body, by proof, else whoever is signed in."""

    @cached_property
    def person(self) -> Person:
        """Raises NotAllowed (`entry_proof_refused`)."""
        proof = self.request.headers.get(HEAD)
        if not proof:
            return self.request.user  # type: ignore[return-value]  # behind an act nobody is anonymous
        return _owner(self.request.path, self.request.data, proof)


class OwnedView(ProvenView):
    """A view for what a tablet keeps beside its results: it says the body's shape, and what takes it in."""

    shape: ClassVar[type[serializers.Serializer[Any]]]
    take: ClassVar[Callable[..., dict[str, Any]]]  # (by, given, at, **what the address names)

    def taken(self, **named: Any) -> dict[str, Any]:
        """The answer about the body, taken in under its owner's name."""
        return type(self).take(by=self.person, given=self.read(self.shape), at=self.at, **named)


def take_in(*, address: str, body: Mapping[str, Any], proof: object, at: datetime, judged: bool = False) -> bool:
    """Take in a body that came another way than by its address, from a file or accepted after it was kept aside.

    False when it was known before. `judged` says that a person has accepted it although its tablet was revoked.
    Raises NotAllowed (`entry_proof_refused`), Invalid (`address_not_taken`, `fields_invalid`), and as the service
    behind the address.
    """
    view, named = _view_of(address)
    owner = _owner(address, body, proof, judged=judged)
    require(owner, view.act["POST"], at)
    form = view.shape(data=dict(body))
    if not form.is_valid():
        raise Invalid("fields_invalid", f"These fields cannot be read: {', '.join(sorted(form.errors))}.")
    with transaction.atomic():
        answer = view.take(by=owner, given=dict(form.validated_data), at=at, **named)
    return answer.get("outcome") != "duplicate"


def _view_of(address: str) -> tuple[type[OwnedView], dict[str, Any]]:
    try:
        match = resolve(address)
    except Resolver404:
        match = None
    view = getattr(match and match.func, "cls", None)
    if match is None or not (isinstance(view, type) and issubclass(view, OwnedView)):
        raise Invalid("address_not_taken", "Nothing that a tablet keeps is sent to this address.")
    return view, match.kwargs


def _owner(address: str, body: object, proof: object, *, judged: bool = False) -> Person:
    said = dict(body) if isinstance(body, Mapping) else {}
    content = said.pop(CONTENT, None)
    if content is not None and said.get("sha256") != hashlib.sha256(decoded(content)).hexdigest():
        raise Invalid("content_changed", "The picture is not the one that was taken: its digest differs.")
    return owner_of_body(address=address, body=said, proof=proof, judged=judged)


def decoded(content: object) -> bytes:
    """The bytes of a picture in base64. Raises Invalid (`content_unreadable`)."""
    try:
        return base64.b64decode(str(content), validate=True)
    except (binascii.Error, ValueError) as error:
        raise Invalid("content_unreadable", "“content” is not base64; send the file's bytes so.") from error
