"""What the code says to people of the office, read from the code: labels, and sentences with places for what they name.

The catalogues `labels` and `sentences` are compared with this, so that no label and no sentence is forgotten.
"""

from __future__ import annotations

import ast
import itertools
import re
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

from django.conf import settings

from .worded import WORD

# Spoken to programs and to the keeper at the shell, or only to the demonstration.
FORMS = re.compile(r"(^|[/_])forms\.py$")
# Read whole, because what they say has no full stop: a line of what happened, a check, limits in words.
READ_WHOLE = frozenset(
    """
    affected/answering.py affected/asking.py affected/material.py affected/queries.py affected/suspects.py
    affected/using.py config/retention/kinds.py core/materials/composition.py core/materials/strength.py
    core/materials/weldability.py trends/pairs.py trends/signals.py trends/sampling.py trends/yielding.py
    certificates/as_built_checks.py certificates/lot_queries.py certificates/release_checks.py config/health/watched.py
    core/checkpoints/count.py core/checkpoints/record.py gauges/usual_kinds.py goods/checking.py
    goods/holding_views.py goods/queries/__init__.py goods/services/lots.py goods/views.py
    history/lines.py history/pictures.py
    improvement/cards.py improvement/queries/actions.py improvement/queries/effect.py improvement/queries/field.py
    improvement/services/leading.py improvement/services/opening.py improvement/services/reminding.py
    improvement/words.py inspections/queries/outliers.py inspections/queries/timeline.py nonconformance/announcing.py
    nonconformance/cards.py nonconformance/queries/queue.py nonconformance/queue_views.py nonconformance/waiting.py
    plans/calculators/fit_pair.py plans/calculators/leaks.py plans/calculators/lots.py plans/calculators/parts.py
    plans/calculators/weld_limits.py plans/comparison.py plans/draft_table.py plans/review_list.py
    plans/services/editing.py
    trends/capability.py trends/characteristic.py trends/control.py trends/gauging.py trends/watch.py trends/words.py
    """.split()  # noqa: SIM905 - a list of names reads better
)
NOT_OF_THE_OFFICE = ("api", "config", "core", "capture", "lib/fields", "lib/guard", "lib/write_once")
SPOKEN_ALL_THE_SAME = (
    "config/context.py",
    "config/health",
    "config/retention",
    "core/checkpoints",
    "core/findings.py",
    "core/identification.py",
    "core/materials",
    "core/metrology/quantities.py",
    "core/metrology/weld",
    "core/statistics/switching.py",
    "core/workflow.py",
)
# Their refusals and notes reach people by pages, tablets and programs; what else they name is for other code.
SENTENCES_ONLY = ("api/", "core/", "config/helping.py")
DESCRIBING = "api/describing.py"  # the API's own description, which is English
# Drawings: what stands in them between tags and in names is read as well, and every text of more than one word.
DRAWN = (
    "gauges/study_picture.py",
    "history/pictures.py",
    "improvement/pictures/",
    "lib/band_picture.py",
    "plans/balloon_picture.py",
    "plans/calculators/pictures.py",
    "trends/pictures/",
)
OF_FILES = ("trends/pictures/inks.py",)  # how a picture stands alone; a file is English
BETWEEN_TAGS = re.compile(r">([^<>]+)<|aria-label=\"([^\"<>]+)\"")
LABELS = frozenset(
    {"label", "help_text", "empty_label", "placeholder", "aria-label", "title", "lead", "said", "subject"}
)
REFUSALS = frozenset({"Refused", "NotAllowed", "Invalid", "NotFound", "Conflict", "Throttled", "QcError"})
TABLES = re.compile(r"_?([A-Z]+_)*(WORDS|LABELS|TITLES|NAMES|SENTENCES|KINDS|CHOICES|REASONS|MENU|TEXTS)")
ENUMS = re.compile(r"\b(StrEnum|TextChoices)\b")
A_LABEL = re.compile(r"[A-Z][a-z]*( |$)")
NAMED = re.compile(r"{[a-z_]+}")
PLACE = re.compile(r"{\d+}")
ENDED = re.compile(r"[.?!](?:{\d})*$")
OF_MACHINES = re.compile(r"[<>_\[]|(?<! )=|=(?! )|\bSELECT\b|%\(|^(?!'{)[^\w{“…]")


# What the code puts together as it runs, so that it stands nowhere whole: states, words of tables, short forms.
BUILT = """
    held | sorted | not judged | contained | refused | passed | Running | Everything | transition | interference |
    running | reduced | nonconforming | longer | advice | frames | hole | shaft | first | second | changed |
    goods in | the system | starts on | by the threshold | stringent | intermediate | moderate | replaced |
    under review | too little | not capable | acknowledged | drift | quiet | restored | database | data folder |
    Deleted | hardness | up | down | alike | do |
    rectangular | triangular | u shaped | rectangular, √{0} | triangular, √{0} | u-shaped, √{0} |
    cancel | order | order {0} | re-welding |
    as the plan measures them | millimetres shown in inches | The gauge itself: the same person again |
    People: another person | Person and part together | Gauge and people together |
    {0}, process {1} | Enter a mill certificate | Another heat or size on {0} | Raise a report on the delivery |
    Raise a report on the lot | Open a lot | Receive a delivery | Add a weld procedure or its next revision |
    Add a welder's qualification | no e-mail address is known of this person | the receiver has left |
    Disposition signed | Step confirmed | Withdrawal signed | Suspects held | Place marked | Picture added |
    Destruction seen | Destruction done | Disposition proposed | Correction started | Correction finished |
    {0} at least, {1} at most | limits {0} to {1} | inspected again later | Moving range of two |
    Check it: the page Audit, or manage.py verify_audit. | Compare them: manage.py check_evidence. |
    least clearance | most clearance | least interference | greatest interference | Drop of absolute pressure |
    Of it from the temperature | Of it lost from the tank | not permitted | % nonconforming |
    serial number such as {0} | serial number | {0} days | {0} days ({1}) |
    {0} years after the person left ({1}); secrets end on the last day |
    {0} at {1} °C (measured {2} at {3} °C) | {0} at {1} °C (measured {2} at {3} °C; temperature uncertainty ± {4}) |
    mean {0} (of {1}) | {0} at {1} °C (temperature uncertainty ± {2}) | {0} for lot {1} |
    {0} cut into {1}, mark transferred, remnant {2} marked | {0} cut into {1}, mark transferred, nothing left |
    {0} cut into {1} for lot {2}, mark transferred, remnant {3} marked |
    {0} cut into {1} for lot {2}, mark transferred, nothing left |
    crack | crater crack | surface pore, butt | surface pore, fillet | end crater pipe | lack of fusion |
    incomplete root penetration, single-side butt | undercut | shrinkage groove | excess weld metal, butt |
    excessive convexity, fillet | excess penetration | overlap | sagging / incompletely filled groove | burn through |
    excessive asymmetry of fillet | root concavity | insufficient throat thickness | excessive throat thickness |
    spatter | single gas pore, butt | single gas pore, fillet | linear misalignment, plates and longitudinal welds |
    linear misalignment, circumferential tube welds | incorrect root gap, fillet | weld toe angle, butt |
    weld toe angle, fillet | porosity area, single layer | porosity area, multi layer | B, stringent |
    C, intermediate | D, moderate | {0} may be up to {1} {2} at {3} | level {0} at {1} mm ({2}) |
    cm³/min (gas at {0} °C, {1} kPa) | Leak rate {0} ({1}) |
    Lot of {0}, level {1}, AQL {2}, {3}: check {4}, accept {5}, reject {6} ({7}) |
    Gas law on absolute pressures: Q = V·(p1 − p2·T1/T2)/Δt; 40 CFR 1065.644 states the same in moles |
    {0} % of the spread in the study was gauge and people; it can tell {1} groups of parts apart. |
    {0} % of the spread in the study was gauge and people; it can tell {1} group of parts apart. |
    There are {0} readings and at least {1} are needed; wait until more have been taken. |
    hole {0} | shaft {0} | goods-in | rework of {0} | repair of {0} | scrap of {0} | use as is of {0} |
    return to supplier of {0} | {0}, lot of {1} | {0}, lot of {1}, {2} | {0} of {1} ({2}), {3} | {0} is sorted. |
    {0} is not judged. | {0} is contained. | {0} is in build. | {0} is in correction. | {0} is on hold. |
    {0} is scrapped. | {0} is dispatched. | {0} is released. | {0} is open. | {0} is closed. | {0} is withdrawn. |
    with | without | and | and not | or | or not | Also found | {0} waived attendance | {0} waived attendance: {1} |
    {0} was present | {0} was present: {1} | {0} was asked to come | {0} was asked to come: {1} |
    least clearance {0} | most clearance {0} | least interference {0} | greatest interference {0} | clearance fit |
    transition fit | interference fit |
    correction | measured again |
    together | Drawings | Drawing | Specifications | Specification |
    {0} entries | of result | position | turn | waived | asked | present | current | There is one reading |
    There are {0} readings | Find a better gauge or method. | Advice: | Warning: | temporary |
    one | two | three | four | five | six | seven | eight | nine | ten | eleven | twelve | thirteen | fourteen |
    fifteen | sixteen | seventeen | eighteen | nineteen | twenty |
    points | expanded uncertainty | outcome | looked at |
    Complaint: {0} | Accident: {0} | Repair: {0} | Warranty: {0} | Recall work: {0} |
    mill certificate | keyed sheet | migrations | guards | up to |
    since | early | late | night | measured | attribute | record | derived | EN 1011-2:2001 Annex C.2, from memory |
    still in band | doubtful | at least {0} pieces | {0} pieces | Marked on {0} | every | first of batch | 1 in {0} |
    AQL {0} of {1} |
    actual size | air pressure | average share nonconforming | bend radius | bend ratio | blade offset | coordinate
    | coverage factor | direction | distance below the head | expansion coefficient | fork offset | gas temperature
    | largest diameter | leaked volume | least material size | length | link angle | link length | maximum material
    size | measured imperfection | minimum wall | nominal diameter | number of degrees of freedom | nut factor |
    offset | outside diameter | pitch | pivot offset | position tolerance | preload | process deviation | process
    mean | rake | relative uncertainty | resolution of the pressure gauge | resolution of the thermometer | settling
    time | share of the proof load | smallest diameter | starting pressure | temperature uncertainty | thickness |
    thread diameter | tolerance | tolerated share | total length of the imperfections | volume | wall | wall after |
    wall before | weld length | wheel radius |
    {0} on hold: {1} | Number destroyed: {0} | Destruction witnessed: {0} | Filler lot {0} |
    shipped | 2nd | from revision {0} | {0} ({1}) would give {2}, if it suits. |
    long caliper | air gauge | portable arm | trammel | steel tape | steel rule | wall gauge | roughness tester |
    gas flow meter | flow meter | clock | eye | lamp | inspection lamp | coating gauge |
    Reports by {0} | Cost by {0} | Hours by {0} | {0} by fixture | {0} by welder | {0} by gauge | {0} by person |
    {0} by heat | {0} by shift | {0}, after minus before |
"""
SAID_IN_A_SCRIPT = re.compile(r'\bt\("((?:[^"\\]|\\.)*)"')


@cache
def script_words() -> dict[str, str]:
    """What the office's scripts say, with the script that says it."""
    root = Path(settings.BASE_DIR) / "static/js"
    found: dict[str, str] = {}
    for file in sorted(root.glob("*.js")):
        for text in SAID_IN_A_SCRIPT.findall(file.read_text(encoding="utf-8")):
            found.setdefault(re.sub(r"\\(.)", r"\1", text), f"static/js/{file.name}")
    return found


@cache
def labels() -> dict[str, list[str]]:
    """Every label, help text, choice and word for a state or a kind, with the modules that have it."""
    built = {" ".join(text.split()): ["lib/spoken_sources.py"] for text in BUILT.split("|") if text.strip()}
    found, said = built | _found(_labels_in, _of_the_office), _found_sentences()
    return {text: [*places, *said.get(text, [])] for text, places in found.items()}


@cache
def sentences() -> dict[str, list[str]]:
    """Every refusal, note and message, `{0}` … for what it names, with the modules that say it."""
    known = labels()
    return {text: places for text, places in _found_sentences().items() if text not in known}


@cache
def _found_sentences() -> dict[str, list[str]]:
    return _found(_sentences_in, _says_sentences)


def _found(read: Callable[[str, ast.AST], Iterator[str]], spoken: Callable[[str], bool]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    root = Path(settings.BASE_DIR) / "qcapp"
    for file in sorted(root.rglob("*.py")):
        name = file.relative_to(root).as_posix()
        if spoken(name):
            for text in read(name, ast.parse(file.read_text(encoding="utf-8"))):
                if WORD.search(text):
                    found.setdefault(text, []).append(name)
    return found


def _of_the_office(name: str) -> bool:
    if name.startswith(SPOKEN_ALL_THE_SAME):
        return True
    return not name.startswith(NOT_OF_THE_OFFICE) and not re.search(r"/(management|migrations)/", name)


def _says_sentences(name: str) -> bool:
    return _of_the_office(name) or (name.startswith(SENTENCES_ONLY) and name != DESCRIBING)


def form_of(node: ast.expr) -> str | None:
    """A text, or an f-string or a form with names, its places numbered; None for anything else."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        named = dict.fromkeys(NAMED.findall(node.value))
        return NAMED.sub(lambda name: f"{{{list(named).index(name[0])}}}", node.value)
    if not isinstance(node, ast.JoinedStr):
        return None
    places = itertools.count()
    return "".join(str(part.value) if isinstance(part, ast.Constant) else f"{{{next(places)}}}" for part in node.values)


def _labels_in(name: str, tree: ast.AST) -> Iterator[str]:
    for node in ast.walk(tree):
        if isinstance(node, ast.keyword) and node.arg == "payload":
            yield from _keys(node.value)
        elif isinstance(node, ast.keyword) and node.arg in LABELS:
            yield from _texts(node.value)
        elif isinstance(node, ast.keyword) and node.arg == "choices":
            yield from _second_of_each(node.value)
        elif isinstance(node, ast.Dict):
            pairs = zip(node.keys, node.values, strict=True)
            named = (value for key, value in pairs if isinstance(key, ast.Constant) and key.value in LABELS)
            yield from (text for value in named for text in _texts(value))
        elif isinstance(node, ast.ClassDef) and any(ENUMS.search(ast.unparse(base)) for base in node.bases):
            yield from _members(node)
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            yield from _table(node)


def _keys(node: ast.AST) -> Iterator[str]:
    """What the audit's page calls the details of an act."""
    for told in ast.walk(node):
        if isinstance(told, ast.Dict):
            names = (key.value for key in told.keys if isinstance(key, ast.Constant) and isinstance(key.value, str))
            yield from (name.replace("_", " ") for name in names)


def _texts(node: ast.expr) -> Iterator[str]:
    """The texts that an expression may be: one, or either of a condition."""
    if isinstance(node, ast.IfExp):
        yield from [*_texts(node.body), *_texts(node.orelse)]
    elif (text := form_of(node)) is not None:
        yield text


def _second_of_each(node: ast.expr) -> Iterator[str]:
    for pair in ast.walk(node):
        if isinstance(pair, ast.Tuple) and len(pair.elts) == 2:
            yield from _texts(pair.elts[1])


def _members(node: ast.ClassDef) -> Iterator[str]:
    """The words of an enumeration's members: the label that stands beside the value, else the value as words."""
    for member in node.body:
        if isinstance(member, ast.Assign) and isinstance(member.value, ast.Tuple):
            yield from _texts(member.value.elts[-1])
        elif isinstance(member, ast.Assign):
            yield from (re.sub(r"[_.]", " ", text) for text in _texts(member.value))


def _table(node: ast.Assign | ast.AnnAssign) -> Iterator[str]:
    target = node.targets[0] if isinstance(node, ast.Assign) else node.target
    if isinstance(target, ast.Name) and node.value is not None and target.id in {"payload", "subject"}:
        yield from _keys(node.value) if target.id == "payload" else _texts(node.value)
    if not isinstance(target, ast.Name) or not TABLES.fullmatch(target.id):
        return
    if isinstance(node.value, ast.Dict):
        yield from (text for value in node.value.values for text in _texts(value))
    elif isinstance(node.value, ast.Tuple | ast.List):
        for entry in node.value.elts:
            yield from _second_of_each(entry) if len(getattr(entry, "elts", [])) == 2 else _first(entry)


def _first(entry: ast.expr) -> Iterator[str]:
    if isinstance(entry, ast.Tuple) and entry.elts:
        yield from _texts(entry.elts[0])


def _sentences_in(name: str, tree: ast.AST) -> Iterator[str]:
    silent, refused = set(_not_spoken(tree)), set(_refused(tree))
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant | ast.JoinedStr) and id(node) not in silent:
            text = form_of(node) or ""
            if name.startswith(DRAWN) and "<" in text:
                yield from _between_tags(text)
            elif _is_too_general(text):
                continue
            elif _is_spoken(name, text) and (id(node) in refused or not OF_MACHINES.search(text)):
                yield text
        if isinstance(node, ast.JoinedStr):
            yield from (text for text in _either_of(node) if not OF_MACHINES.search(text))


def _between_tags(text: str) -> Iterator[str]:
    """What a reader sees of a drawing's source, the places of each text numbered anew."""
    for found in BETWEEN_TAGS.finditer(text):
        words = (found[1] or found[2]).strip()
        if WORD.search(PLACE.sub("", words)):
            yield _numbered_anew(words)


def _numbered_anew(text: str) -> str:
    places = itertools.count()
    return PLACE.sub(lambda _: f"{{{next(places)}}}", text)


def _either_of(node: ast.JoinedStr) -> Iterator[str]:
    """The words that a sentence has one way or the other, such as "is" and "are"; endings are left out."""
    for part in node.values:
        if isinstance(part, ast.FormattedValue) and isinstance(part.value, ast.IfExp):
            yield from (text for text in _texts(part.value) if len(text) > 1 and text == text.strip())


def _is_spoken(name: str, text: str) -> bool:
    """A whole sentence; in a module of forms and in those read whole a label and anything of more than one word."""
    if ENDED.search(text) and " " in text.strip():
        return True
    whole = name in READ_WHOLE or (name.startswith(DRAWN) and name not in OF_FILES)
    return (whole or bool(FORMS.search(name))) and (" " in text.strip() or bool(A_LABEL.match(text)))


def _is_too_general(text: str) -> bool:
    """True for a form such as "{0} is {1}.", which would fit sentences that mean something else."""
    parts = PLACE.split(text)
    return len(parts) > 1 and len(parts[0]) < 4 and max(map(len, parts)) < 7 and sum(map(len, parts)) < 10


def _refused(tree: ast.AST) -> Iterator[int]:
    """What is said as a refusal, which is spoken whatever signs it has: names of fields, for example."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func).rpartition(".")[2] in REFUSALS:
            yield from (id(part) for argument in node.args[1:] for part in ast.walk(argument))


def _not_spoken(tree: ast.AST) -> Iterator[int]:
    """Docstrings, and the parts of an f-string, which are read with the whole."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr):
            yield id(node.value)
        elif isinstance(node, ast.JoinedStr):
            yield from (id(part) for part in node.values)
