"""Templates of the office in another language: a template's source is cut into pieces, and each piece is said again.

A piece is a run of text as the reader sees it: what stands between two tags, with its `{{ expressions }}` as they are
written and, inside a sentence, with the tags that only dress words (`<a>`, `<strong>` …; their attributes left out).
The words in `title`, `aria-label`, `placeholder`, `alt` and in `default:"…"` are pieces as well. English stands in the
templates, so nothing has to be marked there, and nothing can be forgotten.
"""

from __future__ import annotations

import re
from collections.abc import Callable

Say = Callable[[str], str]

SAID_ATTRIBUTES = frozenset({"title", "aria-label", "placeholder", "alt", "label", "data-label"})
DRESSING = frozenset({"a", "strong", "em", "b", "i", "code", "kbd", "abbr"})

_VALUE, _BLOCK, _COMMENT = r"\{\{.*?\}\}", r"\{%.*?%\}", r"\{#.*?#\}"
_QUOTED = rf'"(?:{_VALUE}|{_BLOCK}|[^"])*"'
_TOKEN = re.compile(
    rf"(?P<comment>{_COMMENT}|<!--[\s\S]*?-->|\{{% comment[\s\S]*?\{{% endcomment %\}}"
    r"|<(?:script|style)\b[\s\S]*?</(?:script|style)>)"
    rf"|(?P<block>{_BLOCK})|(?P<value>{_VALUE})"
    rf'|(?P<tag><[!/a-zA-Z](?:{_VALUE}|{_BLOCK}|{_COMMENT}|{_QUOTED}|[^<>"])*>)'
)
_ATTRIBUTE = re.compile(rf'(?P<before>\s(?P<name>[a-z-]+)=)"(?P<text>(?:{_VALUE}|{_BLOCK}|[^"])*)"')
_LITERAL = re.compile(r'(?P<before>\|(?:default|default_if_none|join|yesno):)"(?P<text>[^"]*)"')
_SHOWN = re.compile(r"\{\{\s*(?P<path>[\w.]+)(?P<rest>(?:\|.*?)?)\s*\}\}")
_COUNTED = re.compile(r'\|pluralize:"[^"]*[a-z]{2}[^"]*"')
_NAME = re.compile(r"</?([a-zA-Z0-9]+)")
_DRESS = re.compile(r"</?[a-z]+\d*>")
WORD = re.compile(r"[^\W\d_]{2,}")
_ENTITY = re.compile(r"&#?\w+;")

Token = tuple[str, str]  # its kind ("text", "value", "block", "tag", "comment") and its source


def said_again(source: str, say: Say) -> str:
    """The template with each of its pieces as `say` gives it; whatever is no piece stays as it is."""
    done: list[str] = []
    run: list[Token] = []
    for kind, text in _tokens(source):
        if kind in {"text", "value"} or (kind == "tag" and _name(text) in DRESSING):
            run.append((kind, text))
            continue
        done += [_run_again(run, say), _tag_again(text, say) if kind == "tag" else text]
        run = []
    return "".join([*done, _run_again(run, say)])


def pieces(source: str) -> list[str]:
    """The pieces of a template, in their order, each once."""
    found: dict[str, None] = {}

    def note(piece: str) -> str:
        found[piece] = None
        return piece

    said_again(source, note)
    return list(found)


def looked_up(source: str, names: frozenset[str], how: str = "said") -> str:
    """The template with `|said` behind every expression that shows a label of the code: one that ends on such a name,
    or, for a name written "=title", is nothing else. `how` is another filter.

    What a script, a style or a field is given (`data-…`, `class`, `value`) stays as it is.
    """
    done = []
    for kind, text in _tokens(source):
        if kind == "value":
            text = _value_looked_up(text, names, how)
        elif kind == "tag":
            text = _ATTRIBUTE.sub(lambda match: _attribute_looked_up(match, names, how), text)
        done.append(text)
    return "".join(done)


def _attribute_looked_up(match: re.Match[str], names: frozenset[str], how: str) -> str:
    if match["name"] not in SAID_ATTRIBUTES:
        return match[0]
    text = re.sub(_VALUE, lambda value: _value_looked_up(value[0], names, how), match["text"])
    return f'{match["before"]}"{text}"'


def _value_looked_up(value: str, names: frozenset[str], how: str) -> str:
    match = _SHOWN.fullmatch(value)
    if match is None or not names & {match["path"], f"={match['path']}", match["path"].rpartition(".")[2]}:
        return value
    return f"{{{{ {match['path']}|{how}{match['rest'].rstrip()} }}}}"


def expressions(piece: str) -> list[str]:
    """The `{{ … }}` of a piece, sorted, without what another language says otherwise: endings, literal words."""
    plain = (_LITERAL.sub(r'\g<before>""', value) for value in re.findall(_VALUE, piece) if "|pluralize" not in value)
    return sorted(plain)


def counted(piece: str) -> set[str]:
    """What the endings of a piece are counted by: the expressions before `|pluralize`."""
    values = re.findall(r"\{\{\s*((?:(?!\}\}).)*?)\|pluralize", piece)
    return {value.strip() for value in values}


def dressing(piece: str) -> list[str]:
    """The tags of a piece, sorted."""
    return sorted(_DRESS.findall(piece))


def has_words(text: str) -> bool:
    """True where a reader would see a word: two letters in a row outside expressions and tags."""
    if _COUNTED.search(text):
        return True
    bare = re.sub(rf"{_VALUE}|{_BLOCK}", "", text)
    return bool(WORD.search(_ENTITY.sub("", _DRESS.sub("", bare))))


def _tokens(source: str) -> list[Token]:
    found: list[Token] = []
    at = 0
    for match in _TOKEN.finditer(source):
        if match.start() > at:
            found.append(("text", source[at : match.start()]))
        found.append((match.lastgroup or "", match[0]))
        at = match.end()
    return [*found, ("text", source[at:])] if at < len(source) else found


def _name(tag: str) -> str:
    match = _NAME.match(tag)
    return match[1].lower() if match else ""


def _run_again(run: list[Token], say: Say) -> str:
    """A run said as one piece where words stand beside its tags; else the parts between its tags, each by itself."""
    pairs = _pairs(run)
    loose = [at for at, (kind, _) in enumerate(run) if kind == "tag" and at not in pairs]
    if loose:
        first = loose[0]  # a tag whose partner stands beyond a block tag parts the run
        return _run_again(run[:first], say) + _tag_again(run[first][1], say) + _run_again(run[first + 1 :], say)
    outside = _outside(run, pairs)
    if has_words("".join(run[at][1] for at in outside)):
        return _piece_again(run, pairs, say)
    return _parts_again(run, pairs, say)


def _pairs(run: list[Token]) -> dict[int, int]:
    """Which opening tag belongs to which closing tag, and the other way round."""
    found: dict[int, int] = {}
    opened: list[int] = []
    for at, (kind, text) in enumerate(run):
        if kind != "tag":
            continue
        if not text.startswith("</"):
            opened.append(at)
        elif opened and _name(run[opened[-1]][1]) == _name(text):
            begin = opened.pop()
            found |= {begin: at, at: begin}
    return found


def _outside(run: list[Token], pairs: dict[int, int]) -> list[int]:
    """Where the tokens stand that are in no tag of the run."""
    found, at = [], 0
    while at < len(run):
        if at in pairs:
            at = pairs[at]
        else:
            found.append(at)
        at += 1
    return found


def _parts_again(run: list[Token], pairs: dict[int, int], say: Say) -> str:
    """A run without words of its own: what its tags hold is said, the rest stays."""
    done, at = [], 0
    while at < len(run):
        kind, text = run[at]
        if at in pairs:
            end = pairs[at]
            done += [_tag_again(text, say), _run_again(run[at + 1 : end], say), run[end][1]]
            at = end
        else:
            done.append(_literals_again(text, say) if kind == "value" else text)
        at += 1
    return "".join(done)


def _piece_again(run: list[Token], pairs: dict[int, int], say: Say) -> str:
    """The run as one piece, its tags written short in it and put back after."""
    short: dict[str, str] = {}
    written = [_written_short(at, run, pairs, short, say) for at in range(len(run))]
    text = "".join(written)
    piece = " ".join(text.split())
    said = _DRESS.sub(lambda tag: short.get(tag[0], tag[0]), say(piece))
    lead, tail = text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]
    return lead + re.sub(_VALUE, lambda value: _literals_again(value[0], say), said) + tail


def _written_short(at: int, run: list[Token], pairs: dict[int, int], short: dict[str, str], say: Say) -> str:
    kind, text = run[at]
    if kind != "tag":
        return text
    begin = min(at, pairs[at])
    same = [one for one in sorted(pairs) if one < pairs[one] and _name(run[one][1]) == _name(text)]
    number = same.index(begin) + 1
    slash = "/" if text.startswith("</") else ""
    name = f"<{slash}{_name(text)}{number if number > 1 else ''}>"
    short[name] = text if slash else _tag_again(text, say)
    return name


def _tag_again(tag: str, say: Say) -> str:
    """A tag with the words of its attributes said."""

    def again(match: re.Match[str]) -> str:
        if match["name"] not in SAID_ATTRIBUTES:
            return match[0]
        return f'{match["before"]}"{_attribute_again(match["text"], say)}"'

    return _ATTRIBUTE.sub(again, tag)


def _attribute_again(text: str, say: Say) -> str:
    parts = re.split(rf"({_BLOCK})", text)
    return "".join(part if part.startswith("{%") else _run_again([("text", part)], say) for part in parts)


def _literals_again(value: str, say: Say) -> str:
    """An expression with the words said that it shows in place of nothing, or between the members of a list."""

    def again(match: re.Match[str]) -> str:
        text = match["text"]
        return f'{match["before"]}"{say(text)}"' if has_words(text) else match[0]

    return _LITERAL.sub(again, value)
