"""The only writers of people. Other rooms import from here; each service lives in its matter's module."""

from __future__ import annotations

from .accounts import (
    add_person,
    change_person,
    give_temporary_password,
    mark_left,
    set_language,
    set_password,
    set_pin,
)
from .charts import end_chart_reader, name_chart_reader
from .forgetting import anonymise, forget_attempts, forgettable, refuse_to_forget
from .open_sessions import SessionRow, begin_session, end_sessions, forget_sessions, sessions_of, sessions_to_forget
from .proofs import Method, Proof, demonstration_proof, identify, prove_identity
from .rights import require, write_signature
from .roles_held import end_deputy, end_role, give_role, name_deputy
from .second_factor import (
    Beginning,
    begin_second_factor,
    begun_second_factor,
    check_second_factor,
    confirm_second_factor,
    end_second_factor,
    recovery_codes_left,
    renew_recovery_codes,
)
from .tablets import (
    add_person_to_tablet,
    add_tablet,
    decide_aside,
    discard_entry,
    enrol,
    keep_aside,
    new_code,
    nonce_for,
    person_by_key,
    revoke_tablet,
    tablet_contact,
)
from .turns import take_a_turn

__all__ = [
    "Beginning",
    "Method",
    "Proof",
    "SessionRow",
    "add_person",
    "add_person_to_tablet",
    "add_tablet",
    "anonymise",
    "begin_second_factor",
    "begin_session",
    "begun_second_factor",
    "change_person",
    "check_second_factor",
    "confirm_second_factor",
    "decide_aside",
    "demonstration_proof",
    "discard_entry",
    "end_chart_reader",
    "end_deputy",
    "end_role",
    "end_second_factor",
    "end_sessions",
    "enrol",
    "forget_attempts",
    "forget_sessions",
    "forgettable",
    "give_role",
    "give_temporary_password",
    "identify",
    "keep_aside",
    "mark_left",
    "name_chart_reader",
    "name_deputy",
    "new_code",
    "nonce_for",
    "person_by_key",
    "prove_identity",
    "recovery_codes_left",
    "refuse_to_forget",
    "renew_recovery_codes",
    "require",
    "revoke_tablet",
    "sessions_of",
    "sessions_to_forget",
    "set_language",
    "set_password",
    "set_pin",
    "tablet_contact",
    "take_a_turn",
    "write_signature",
]
