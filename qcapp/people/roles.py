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
        return ROLE_NAMES.get(self.value, self.value.replace("_", " "))


ROLE_NAMES = {"goods_in": "goods-in"}  # the others are called as their value says


R = Role
FLOOR = frozenset({R.INSPECTOR, R.WELDER, R.ASSEMBLER, R.GOODS_IN})
OFFICE = frozenset(Role) - FLOOR  # who works at a desk, and is asked for a second factor
EVERYBODY = frozenset(Role)
DEPUTIZABLE = frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY, R.KEEPER})


class Act(StrEnum):
    """Something a person asks the application to do. Values are the words of the rights table."""

    LOOK_UP_UNIT = "look up a unit and its history"
    LOOK_AT_PLAN = "look at an inspection plan"
    LOOK_AT_REPORTS = "look at nonconformance reports"
    LOOK_AT_GAUGES = "look at gauges"
    LOOK_AT_TRENDS = "look at trends"
    LOOK_AT_BELIEVABILITY = "look at whether the recording is believable"
    GET_CERTIFICATE = "get a certificate"
    READ_AUDIT = "read the audit chain"
    LOOK_AT_SYSTEM = "look at how the system fares"

    IMPORT_PLAN = "import an inspection plan"
    WRITE_PLAN = "write, revise or discard a draft of an inspection plan"
    SEND_PLAN_FOR_REVIEW = "send a plan for review or return it"
    APPROVE_PLAN = "approve limits and methods of critical checkpoints"
    RELEASE_PLAN = "release or withdraw a plan revision"

    OPEN_UNIT = "open a unit"
    RECORD_RESULT = "record a result"
    CHECK_KEYING = "hold results keyed from paper against the sheet"
    IMPORT_RESULTS = "import results from a file"
    SIGN_STAGE = "sign a stage"
    DECIDE_RESULT = "decide a near-limit or unproven result"

    CHOOSE_PLAN = "decide whether a unit adopts a plan revision"
    DECIDE_APPLICABILITY = "decide that a checkpoint does not apply to a unit"
    MARK_FIRST_ARTICLE = "mark a first article and accept it"
    RECORD_WITNESS = "record who witnessed a stage, or that it was waived"

    RAISE_REPORT = "raise a nonconformance report by hand"
    CONTAIN_REPORT = "contain a nonconformance"
    DECIDE_REPORT = "sign a disposition"
    CORRECT_REPORT = "start and finish a correction"
    CLOSE_REPORT = "verify and close a nonconformance report"
    WITHDRAW_REPORT = "withdraw a nonconformance report"
    LIFT_HOLD = "lift a hold"
    HOLD_SUSPECTS = "hold the suspect units of a report"
    WITNESS_DESTRUCTION = "sign that the number of a scrapped part is destroyed"
    SET_DECIDERS = "set whose signatures a disposition needs"
    PROPOSE_PERMIT = "propose a deviation permit"
    SIGN_PERMIT = "sign a deviation permit"
    RECORD_CUSTOMER_APPROVAL = "record a customer's approval"

    FREEZE_LIMITS = "freeze control limits, leave a point out of a chart"
    ACKNOWLEDGE_SIGNAL = "acknowledge a signal of a chart"

    LOOK_AT_GOODS = "look at deliveries, heats and lots"
    KEEP_GOODS = "receive deliveries, enter mill certificates, open and sample lots"
    DECIDE_GOODS = "accept, hold or refuse a heat"
    ACCEPT_OUTSIDE_LIMITS = "accept a heat whose certificate does not conform"
    ASK_VERIFICATION = "ask for grade verification at issue"
    RESUME_SAMPLING = "resume the inspection of lots after it was discontinued"
    BUILD_IN = "install or remove a component, use a lot or heat, stamp an identity"
    MOVE_ITEM = "move a unit or lot to a place"
    KEEP_PLACES = "name a place"
    KEEP_STATIONS = "say which stages are inspected at a station"

    RELEASE_UNIT = "release a unit or withdraw its release"
    ISSUE_CERTIFICATE = "issue or withdraw a certificate"
    SIGN_LOT_CERTIFICATE = "sign the inspection certificate of a lot"
    CHOOSE_PAPER = "choose what certificates hold"

    ASK_AFFECTED = "ask who is affected"
    KEEP_AFFECTED = "keep a list of affected units"
    HOLD_LISTED = "hold the units of a kept list"
    HOLD_AFFECTED = "hold what a wrong gauge has measured"
    DOUBT_GAUGE = "take a doubtful gauge out of use"
    KEEP_WELDING = "keep weld procedures and welders' qualifications"
    CONFIRM_WELDER = "confirm that a welder has gone on welding"
    PLACE_JOINTS = "place joints on a weld map"
    SEE_CUSTOMERS = "see customers and their orders"
    KEEP_ORDERS = "enter a customer or an order"
    DISPATCH_UNIT = "dispatch a unit"
    RECORD_SERVICE = "record a service event"

    KEEP_GAUGES = "add, calibrate and retire gauges"
    KEEP_PEOPLE = "add people, give roles, name deputies"
    KEEP_TABLETS = "enrol and revoke tablets"
    LOOK_AT_TABLETS = "look at tablets and what they have not sent"
    JUDGE_ASIDE = "judge entries kept aside, take in unsent entries from a file"
    KEEP_MAIL = "look at undelivered e-mail and try it again"

    LOOK_AT_IMPROVEMENT = "look at corrective actions and what goes wrong most"
    LEAD_ACTION = "open and lead a corrective action"
    DO_ACTION = "say that an own action is done"
    CLOSE_ACTION = "close a corrective action on its effect"
    RECORD_COST = "record what a nonconformance costs"
    SET_IMPROVEMENT = "set the rate, the threshold and the number of units for corrective actions"
    LEAD_FIELD_ACTION = "open a field action and write its letters"
    FOLLOW_FIELD_ACTION = "record what became of a unit in a field action"


_QUALITY = frozenset({R.QUALITY_MANAGER})

ACTS: dict[Act, frozenset[Role]] = {
    Act.LOOK_UP_UNIT: EVERYBODY,
    Act.LOOK_AT_PLAN: EVERYBODY,
    Act.LOOK_AT_REPORTS: EVERYBODY,
    Act.LOOK_AT_GAUGES: EVERYBODY,
    Act.LOOK_AT_TRENDS: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY}),
    Act.GET_CERTIFICATE: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.CUSTOMER_SERVICE, R.DISPATCH}),
    Act.READ_AUDIT: frozenset({R.QUALITY_MANAGER, R.KEEPER}),
    Act.LOOK_AT_SYSTEM: frozenset({R.KEEPER}),
    Act.IMPORT_PLAN: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.WRITE_PLAN: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.SEND_PLAN_FOR_REVIEW: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.APPROVE_PLAN: frozenset({R.ENGINEER}),
    Act.RELEASE_PLAN: _QUALITY,
    Act.OPEN_UNIT: frozenset({R.INSPECTOR, R.WELDER, R.ASSEMBLER, R.QUALITY_MANAGER}),
    Act.RECORD_RESULT: FLOOR | _QUALITY,
    Act.IMPORT_RESULTS: frozenset({R.INSPECTOR, R.QUALITY_MANAGER}),
    Act.CHECK_KEYING: FLOOR | _QUALITY | frozenset({R.ENGINEER}),
    Act.SIGN_STAGE: FLOOR | _QUALITY,
    Act.DECIDE_RESULT: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.CHOOSE_PLAN: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.DECIDE_APPLICABILITY: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.MARK_FIRST_ARTICLE: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.RECORD_WITNESS: FLOOR | _QUALITY | frozenset({R.ENGINEER, R.CUSTOMER_SERVICE}),
    Act.RAISE_REPORT: FLOOR
    | frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY, R.DISPATCH, R.CUSTOMER_SERVICE}),
    Act.CONTAIN_REPORT: frozenset({R.INSPECTOR, R.QUALITY_MANAGER, R.WELDING_COORDINATOR, R.GOODS_IN}),
    Act.DECIDE_REPORT: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR}),
    Act.CORRECT_REPORT: FLOOR | frozenset({R.QUALITY_MANAGER, R.WELDING_COORDINATOR}),
    Act.CLOSE_REPORT: _QUALITY,
    Act.WITHDRAW_REPORT: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.LIFT_HOLD: _QUALITY,
    Act.LOOK_AT_BELIEVABILITY: _QUALITY,
    Act.FREEZE_LIMITS: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.ACKNOWLEDGE_SIGNAL: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR}),
    Act.LOOK_AT_GOODS: EVERYBODY,
    Act.KEEP_GOODS: frozenset({R.GOODS_IN, R.QUALITY_MANAGER}),
    Act.DECIDE_GOODS: frozenset({R.GOODS_IN, R.QUALITY_MANAGER}),
    Act.ACCEPT_OUTSIDE_LIMITS: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.ASK_VERIFICATION: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR}),
    Act.RESUME_SAMPLING: frozenset({R.QUALITY_MANAGER}),
    Act.BUILD_IN: FLOOR | _QUALITY,
    Act.MOVE_ITEM: FLOOR | frozenset({R.QUALITY_MANAGER, R.DISPATCH}),
    Act.KEEP_PLACES: frozenset({R.QUALITY_MANAGER, R.DISPATCH, R.GOODS_IN}),
    Act.KEEP_STATIONS: frozenset({R.QUALITY_MANAGER, R.KEEPER}),
    Act.HOLD_SUSPECTS: frozenset({R.INSPECTOR, R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY}),
    Act.WITNESS_DESTRUCTION: FLOOR | frozenset({R.QUALITY_MANAGER, R.WELDING_COORDINATOR}),
    Act.SET_DECIDERS: _QUALITY,
    Act.PROPOSE_PERMIT: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR}),
    Act.SIGN_PERMIT: frozenset({R.QUALITY_MANAGER, R.ENGINEER}),
    Act.RECORD_CUSTOMER_APPROVAL: frozenset({R.QUALITY_MANAGER, R.CUSTOMER_SERVICE}),
    Act.RELEASE_UNIT: _QUALITY,
    Act.ISSUE_CERTIFICATE: _QUALITY,
    Act.SIGN_LOT_CERTIFICATE: frozenset({R.INSPECTOR, R.QUALITY_MANAGER}),
    Act.CHOOSE_PAPER: _QUALITY,
    Act.ASK_AFFECTED: frozenset(
        {R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY, R.CUSTOMER_SERVICE}
    ),
    Act.KEEP_AFFECTED: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY}),
    Act.HOLD_LISTED: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY}),
    Act.HOLD_AFFECTED: frozenset({R.METROLOGY, R.QUALITY_MANAGER}),
    Act.DOUBT_GAUGE: FLOOR | frozenset({R.QUALITY_MANAGER, R.METROLOGY}),
    Act.KEEP_WELDING: frozenset({R.WELDING_COORDINATOR}),
    Act.CONFIRM_WELDER: frozenset({R.WELDING_COORDINATOR}),
    Act.PLACE_JOINTS: frozenset({R.WELDING_COORDINATOR, R.ENGINEER, R.QUALITY_MANAGER}),
    Act.SEE_CUSTOMERS: frozenset({R.CUSTOMER_SERVICE, R.DISPATCH, R.QUALITY_MANAGER}),
    Act.KEEP_ORDERS: frozenset({R.CUSTOMER_SERVICE, R.DISPATCH}),
    Act.DISPATCH_UNIT: frozenset({R.DISPATCH}),
    Act.RECORD_SERVICE: frozenset({R.CUSTOMER_SERVICE, R.QUALITY_MANAGER}),
    Act.KEEP_GAUGES: frozenset({R.METROLOGY, R.QUALITY_MANAGER}),
    Act.KEEP_PEOPLE: frozenset({R.KEEPER}),
    Act.KEEP_TABLETS: frozenset({R.KEEPER}),
    Act.LOOK_AT_TABLETS: frozenset({R.KEEPER, R.QUALITY_MANAGER}),
    Act.JUDGE_ASIDE: _QUALITY,
    Act.KEEP_MAIL: frozenset({R.KEEPER}),
    Act.LOOK_AT_IMPROVEMENT: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR, R.METROLOGY})
    | frozenset({R.CUSTOMER_SERVICE}),
    Act.LEAD_ACTION: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR}),
    Act.DO_ACTION: EVERYBODY,
    Act.CLOSE_ACTION: _QUALITY,
    Act.RECORD_COST: frozenset({R.QUALITY_MANAGER, R.ENGINEER, R.WELDING_COORDINATOR}),
    Act.SET_IMPROVEMENT: _QUALITY,
    Act.LEAD_FIELD_ACTION: _QUALITY,
    Act.FOLLOW_FIELD_ACTION: frozenset({R.QUALITY_MANAGER, R.CUSTOMER_SERVICE}),
}
