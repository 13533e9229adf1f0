"""The question "who is affected": its notation, read into a tree and written back. Plain Python.

    heat 7K4412 and not (welder W11 or fixture TF-03)
    gauge CA-03 from 2026-03-01 to 2026-04-15 and family FR-200
    supplier "Brook Tube" or plan FR-200/D

A term is a word of SOURCES and its value; what happened in time may take `from` and `to`, both days included. `not`
binds before `and`, `and` before `or`; brackets say otherwise. A value with blanks or brackets stands in double quotes.
The words may be those of another language of the office (`question_words`); what is kept has the English ones.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from qcapp.core.errors import Invalid

from .question_words import ENGLISH, Words

LONGEST = 2000
MOST_TERMS = 20
DEEPEST = 12


@dataclass(frozen=True)
class Source:
    """What a term may name. `valued`: it takes a value; `dated`: it takes days; `carried`: what holds it counts too."""

    key: str
    label: str
    hint: str
    valued: bool = True
    dated: bool = False
    carried: bool = True


SOURCES: dict[str, Source] = {
    one.key: one
    for one in (
        Source("heat", "Heat", "heat number"),
        Source("lot", "Lot", "lot code"),
        Source("component", "Component serial", "serial"),
        Source("supplier", "Supplier", "name of the supplier"),
        Source("filler", "Filler lot", "lot of rod or wire", dated=True),
        Source("gauge", "Gauge", "gauge number", dated=True),
        Source("fixture", "Fixture", "fixture number", dated=True),
        Source("welder", "Welder", "stamp or badge", dated=True),
        Source("inspector", "Inspector", "badge", dated=True),
        Source("plan", "Plan revision", "family/letter", carried=False),
        Source("family", "Part family", "code", carried=False),
        Source("opened", "Opened", "", valued=False, dated=True, carried=False),
        Source("dispatched", "Dispatched", "", valued=False, dated=True, carried=False),
    )
}
_JOINING = ("and", "or", "not", "from", "to")
_WORDS = frozenset(_JOINING) | {word for word, english in ENGLISH.items() if english in _JOINING}


@dataclass(frozen=True)
class Term:
    """Units that share one thing, in a time where days are given."""

    source: str
    value: str = ""
    since: date | None = None
    until: date | None = None


@dataclass(frozen=True)
class Without:
    """Every unit but these."""

    inner: Tree


@dataclass(frozen=True)
class Both:
    """Units that are in every part."""

    parts: tuple[Tree, ...]


@dataclass(frozen=True)
class Either:
    """Units that are in any part."""

    parts: tuple[Tree, ...]


Tree = Term | Without | Both | Either


def terms_of(tree: Tree, *, wanted_only: bool = False) -> Iterator[Term]:
    """Every term of the tree, from the left; with `wanted_only` without those behind a `not`."""
    if isinstance(tree, Term):
        yield tree
    elif isinstance(tree, Without):
        if not wanted_only:
            yield from terms_of(tree.inner)
    else:
        for part in tree.parts:
            yield from terms_of(part, wanted_only=wanted_only)


# ------------------------------------------------------------------------------------------------------ writing


def written(tree: Tree, words: Words | None = None) -> str:
    """The tree in its notation, in English or with these words; `read` of it gives the same tree."""
    say = words or {}
    if isinstance(tree, Term):
        return _written_term(tree, say)
    if isinstance(tree, Without):
        return f"{say.get('not', 'not')} {_bracketed(tree.inner, (Both, Either), say)}"
    if isinstance(tree, Both):
        return f" {say.get('and', 'and')} ".join(_bracketed(part, (Both, Either), say) for part in tree.parts)
    return f" {say.get('or', 'or')} ".join(_bracketed(part, (Either,), say) for part in tree.parts)


def _bracketed(tree: Tree, kinds: tuple[type, ...], say: Words) -> str:
    return f"({written(tree, say)})" if isinstance(tree, kinds) else written(tree, say)


def _written_term(term: Term, say: Words) -> str:
    given = (("from", term.since), ("to", term.until))
    days = [f"{say.get(word, word)} {day.isoformat()}" for word, day in given if day]
    return " ".join([say.get(term.source, term.source), *([_quoted(term.value)] if term.value else []), *days])


def _quoted(value: str) -> str:
    plain = not re.search(r'[\s()"]', value) and value.casefold() not in _WORDS
    return value if plain else '"' + value.replace('"', '""') + '"'


# ------------------------------------------------------------------------------------------------------ reading

_TOKEN = re.compile(r'\s*(?:([()])|"((?:[^"]|"")*)"|([^\s()"]+))')


@dataclass(frozen=True)
class _Token:
    text: str
    quoted: bool = False

    @property
    def word(self) -> str:
        """The word of the notation that it is, in English; else its text in small letters."""
        text = self.text.casefold()
        return ENGLISH.get(text, text)

    def says(self, word: str) -> bool:
        return not self.quoted and self.word == word


def read(text: str) -> Tree:
    """The tree of a question. Raises Invalid `question_missing`, `question_too_long`, `question_not_readable`."""
    if not text.strip():
        raise Invalid("question_missing", "Say what the units share, for example: heat 7K4412.")
    if len(text) > LONGEST:
        raise Invalid("question_too_long", f"The question is longer than {LONGEST} characters; ask in two parts.")
    reader = _Reader(list(_tokens(text)))
    tree = reader.either(0)
    if reader.left:
        raise _unreadable(f"“{reader.next.text}” is not expected; join terms by and, or, and not")
    if sum(1 for _ in terms_of(tree)) > MOST_TERMS:
        raise Invalid("question_too_long", f"A question has at most {MOST_TERMS} terms; ask in two parts.")
    return tree


def _tokens(text: str) -> Iterator[_Token]:
    place, end = 0, len(text.rstrip())
    while place < end:
        found = _TOKEN.match(text, place)
        if not found:
            raise _unreadable("a quotation mark is not closed")
        place = found.end()
        bracket, quoted, word = found.groups()
        yield _Token(quoted.replace('""', '"'), True) if quoted is not None else _Token(bracket or word)


def _unreadable(what: str) -> Invalid:
    return Invalid("question_not_readable", f"The question cannot be read: {what}.")


class _Reader:
    """Reads tokens by the grammar above, one method a level."""

    def __init__(self, tokens: Sequence[_Token]) -> None:
        self.tokens = tokens
        self.place = 0

    @property
    def left(self) -> bool:
        return self.place < len(self.tokens)

    @property
    def next(self) -> _Token:
        return self.tokens[self.place] if self.left else _Token("", True)

    def take(self, word: str) -> bool:
        if not self.next.says(word):
            return False
        self.place += 1
        return True

    def either(self, depth: int) -> Tree:
        if depth > DEEPEST:
            raise _unreadable(f"brackets are nested deeper than {DEEPEST} levels")
        parts = [self.both(depth)]
        while self.take("or"):
            parts.append(self.both(depth))
        return parts[0] if len(parts) == 1 else Either(tuple(parts))

    def both(self, depth: int) -> Tree:
        parts = [self.one(depth)]
        while self.take("and"):
            parts.append(self.one(depth))
        return parts[0] if len(parts) == 1 else Both(tuple(parts))

    def one(self, depth: int) -> Tree:
        if self.take("not"):
            if depth > DEEPEST:
                raise _unreadable("there are too many nots in a row")
            return Without(self.one(depth + 1))
        if self.take("("):
            inner = self.either(depth + 1)
            if not self.take(")"):
                raise _unreadable("a bracket is not closed")
            return inner
        return self.term()

    def term(self) -> Term:
        if not self.left:
            raise _unreadable("it ends where a term is expected")
        source = None if self.next.quoted else SOURCES.get(self.next.word)
        if source is None:
            raise _unreadable(f"“{self.next.text[:40]}” is not something to ask by; use {', '.join(SOURCES)}")
        self.place += 1
        value = self.value(source) if source.valued else ""
        return checked(Term(source.key, value, self.day("from"), self.day("to")))

    def value(self, source: Source) -> str:
        token = self.next
        if not self.left or (not token.quoted and (token.text in "()" or token.text.casefold() in _WORDS)):
            raise _unreadable(f"after {source.key} its {source.hint} is missing")
        self.place += 1
        return token.text

    def day(self, word: str) -> date | None:
        if not self.take(word):
            return None
        text = self.next.text
        self.place += self.left
        return read_day(text)


def read_day(text: str) -> date:
    """A day as 2026-03-31. Raises Invalid `day_not_readable`."""
    try:
        if len(text) != len("2026-03-31"):
            raise ValueError
        return date.fromisoformat(text)
    except ValueError:
        raise Invalid("day_not_readable", f"“{text[:20]}” is not a day; write it like 2026-03-31.") from None


def checked(term: Term) -> Term:
    """The term with its value trimmed. Raises Invalid `question_not_readable`, `days_not_taken`, `days_turned`."""
    source = SOURCES[term.source]
    value = " ".join(term.value.split())
    if source.valued and (not value or len(value) > 80 or not value.isprintable()):
        raise _unreadable(f"after {source.key} its {source.hint} is missing, too long or not plain text")
    if (term.since or term.until) and not source.dated:
        message = f"A {source.label.lower()} takes no days; add: and opened from … to …, or and dispatched from … to …."
        raise Invalid("days_not_taken", message)
    if not source.valued and not (term.since or term.until):
        raise _unreadable(f"{source.key} needs a day: {source.key} from 2026-03-01")
    if term.since and term.until and term.since > term.until:
        raise Invalid("days_turned", f"{source.label}: the first day lies after the last one; turn them.")
    return Term(term.source, value, term.since, term.until)


# --------------------------------------------------------------------------------------------------- form of rows

JOINS = ("and", "and not", "or", "or not")


@dataclass(frozen=True)
class Row:
    """One row of the form: how it is joined to those above, and its term."""

    join: str
    term: Term


def of_rows(rows: Sequence[Row]) -> Tree:
    """The tree of a form's rows, `and` before `or`. Raises Invalid `question_missing` and as `checked`."""
    if not rows:
        raise Invalid("question_missing", "Say what the units share in at least one row.")
    groups: list[list[Tree]] = []
    for place, row in enumerate(rows):
        term = checked(row.term)
        part: Tree = Without(term) if row.join.endswith("not") else term
        if place and row.join.startswith("and"):
            groups[-1].append(part)
        else:
            groups.append([part])
    parts: list[Tree] = [group[0] if len(group) == 1 else Both(tuple(group)) for group in groups]
    return parts[0] if len(parts) == 1 else Either(tuple(parts))


def rows_of(tree: Tree) -> list[Row] | None:
    """The rows that a question without brackets would have been asked by; None where it needs brackets."""
    rows: list[Row] = []
    for group in tree.parts if isinstance(tree, Either) else (tree,):
        for place, part in enumerate(group.parts if isinstance(group, Both) else (group,)):
            word = "and" if place or not rows else "or"
            inner = part.inner if isinstance(part, Without) else part
            if not isinstance(inner, Term):
                return None
            rows.append(Row(f"{word} not" if isinstance(part, Without) else word, inner))
    return rows
