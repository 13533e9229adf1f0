"""The only writers of people. Other rooms import from here; each service lives in its matter's module."""

from __future__ import annotations

from .accounts import add_person, change_person, mark_left, set_language, set_password, set_pin
from .proofs import Method, Proof, demonstration_proof, identify, prove_identity
from .rights import require, write_signature
from .roles_held import end_deputy, end_role, give_role, name_deputy
from .turns import take_a_turn

__all__ = [
    "Method",
    "Proof",
    "add_person",
    "change_person",
    "demonstration_proof",
    "end_deputy",
    "end_role",
    "give_role",
    "identify",
    "mark_left",
    "name_deputy",
    "prove_identity",
    "require",
    "set_language",
    "set_password",
    "set_pin",
    "take_a_turn",
    "write_signature",
]
