"""The roles, and which acts each may do. The one table behind every page, API route and button.

`docs/rights.md` is written from ACTS and PAGES by `manage.py write_rights`; a test walks every address with
every role and compares. A role is a responsibility at the maker's, not a rank: the quality manager may not
calibrate.
"""

from __future__ import annotations

from enum import StrEnum


class Role(StrEnum):
    INSPECTOR = "inspector"
    WELDER = "welder"
    ASSEMBLER = "assembler"
    GOODS_IN = "goods_in"
    QUALITY_MANAGER = "quality_manager"
    ENGINEER = "engineer"
    WELDING_COORDINATOR = "welding_coordinator"
    METROLOGY = "metrology"
    CUSTOMER_SERVICE = "customer_service"
    DISPATCH = "dispatch"
    KEEPER = "keeper"

    @property
    def label(self) -> str:
        return self.value.replace("_", " ").replace("goods in", "goods-in")


R = Role
FLOOR = frozenset({R.INSPECTOR, R.WELDER, R.ASSEMBLER, R.GOODS_IN})
EVERYBODY = frozenset(Role)
DEPUTIZABLE = frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY, R.KEEPER})


class Act(StrEnum):
    """Something a person asks the application to do. Values are the words of the rights table."""

    LOOK_UP_UNIT = "look up a unit and its history"
    LOOK_AT_PLAN = "look at an inspection plan"
    LOOK_AT_REPORTS = "look at nonconformance reports"
    LOOK_AT_GAUGES = "look at gauges"
    LOOK_AT_TRENDS = "look at trends"
    GET_CERTIFICATE = "get a certificate"
    READ_AUDIT = "read the audit chain"

    IMPORT_PLAN = "import an inspection plan"
    WRITE_PLAN = "write, revise or discard a draft of an inspection plan"
    SEND_PLAN_FOR_REVIEW = "send a plan for review or return it"
    APPROVE_PLAN = "approve limits and methods of critical checkpoints"
    RELEASE_PLAN = "release or withdraw a plan revision"

    OPEN_UNIT = "open a unit"
    RECORD_RESULT = "record a result"
    IMPORT_RESULTS = "import results from a file"
    SIGN_STAGE = "sign a stage"
    DECIDE_RESULT = "decide a near-limit or unproven result"

    RAISE_REPORT = "raise a nonconformance report by hand"
    CONTAIN_REPORT = "contain a nonconformance"
    DECIDE_REPORT = "sign a disposition"
    CORRECT_REPORT = "start and finish a correction"
    CLOSE_REPORT = "verify and close a nonconformance report"
    WITHDRAW_REPORT = "withdraw a nonconformance report"
    LIFT_HOLD = "lift a hold"

    RELEASE_UNIT = "release a unit or withdraw its release"
    ISSUE_CERTIFICATE = "issue or withdraw a certificate"
    CHOOSE_PAPER = "choose what certificates hold"

    KEEP_GAUGES = "add, calibrate and retire gauges"
    KEEP_PEOPLE = "add people, give roles, name deputies"


_QUALITY = frozenset({R.QUALITY_MANAGER})

ACTS: dict[Act, frozenset[Role]] = {
    Act.LOOK_UP_UNIT: EVERYBODY,
    Act.LOOK_AT_PLAN: EVERYBODY,
    Act.LOOK_AT_REPORTS: EVERYBODY,
    Act.LOOK_AT_GAUGES: EVERYBODY,
    Act.LOOK_AT_TRENDS: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY}),
    Act.GET_CERTIFICATE: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.CUSTOMER_SERVICE, R.DISPATCH}),
    Act.READ_AUDIT: frozenset({R.QUALITY_MANAGER, R.KEEPER}),
    Act.IMPORT_PLAN: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.WRITE_PLAN: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.SEND_PLAN_FOR_REVIEW: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.APPROVE_PLAN: frozenset({R.ENGINEER}),
    Act.RELEASE_PLAN: _QUALITY,
    Act.OPEN_UNIT: frozenset({R.INSPECTOR, R.WELDER, R.ASSEMBLER, R.QUALITY_MANAGER}),
    Act.RECORD_RESULT: FLOOR | _QUALITY,
    Act.IMPORT_RESULTS: frozenset({R.INSPECTOR, R.QUALITY_MANAGER}),
    Act.SIGN_STAGE: FLOOR | _QUALITY,
    Act.DECIDE_RESULT: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.RAISE_REPORT: FLOOR
    | frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY, R.DISPATCH}),
    Act.CONTAIN_REPORT: frozenset({R.INSPECTOR, R.QUALITY_MANAGER, R.WELDING_COORDINATOR, R.GOODS_IN}),
    Act.DECIDE_REPORT: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR}),
    Act.CORRECT_REPORT: FLOOR | frozenset({R.QUALITY_MANAGER, R.WELDING_COORDINATOR}),
    Act.CLOSE_REPORT: _QUALITY,
    Act.WITHDRAW_REPORT: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.LIFT_HOLD: _QUALITY,
    Act.RELEASE_UNIT: _QUALITY,
    Act.ISSUE_CERTIFICATE: _QUALITY,
    Act.CHOOSE_PAPER: _QUALITY,
    Act.KEEP_GAUGES: frozenset({R.METROLOGY, R.QUALITY_MANAGER}),
    Act.KEEP_PEOPLE: frozenset({R.KEEPER}),
}
