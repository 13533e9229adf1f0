"""The catalogues of the office as files: which pieces the templates have, and the .po files that say them.

A file is written whole, in the order in which the pieces stand in the templates: what is said already stays, what is
new is empty, what no template has any more goes. A translator may add an entry with a `msgctxt`, the name of a
template, that says a piece otherwise in this template only; it stays as long as that template has the piece.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from django.conf import settings

from . import on_tablets
from .spoken import OFFICE, words_of_file
from .spoken import office_catalogues as catalogues
from .spoken_sources import labels, script_words, sentences
from .worded import counted, dressing, expressions, pieces
from .worded_templates import UNTOUCHED

Key = tuple[str, str]  # the template that the text is for ("" for all) and the English text

SHARED, FRAME = "shared", "frame"
IN_THE_FRAME = ("components", "errors")
SHORT = 40  # characters: a piece below is shown to the translator with its neighbours

HEAD = """\
# The office in another language: {room}. Written by `manage.py write_words`, which keeps every msgstr.
msgid ""
msgstr ""
"Language: {code}\\n"
"MIME-Version: 1.0\\n"
"Content-Type: text/plain; charset=UTF-8\\n"
"Content-Transfer-Encoding: 8bit\\n"
"""


class Entry(NamedTuple):
    """A piece: where it stands, between which others (empty for a long one), and its English."""

    places: tuple[str, ...]
    between: str
    english: str


def templates(code: str) -> dict[str, list[str]]:
    """The pieces of each template that is shown in this language, in their order, by the template's name."""
    folder = Path(settings.BASE_DIR) / "templates"
    names = sorted(file.relative_to(folder).as_posix() for file in folder.rglob("*.html"))
    shown = [name for name in names if not name.startswith(UNTOUCHED) and _is_shown(code, name)]
    return {name: pieces((folder / name).read_text(encoding="utf-8")) for name in shown}


def _is_shown(code: str, name: str) -> bool:
    """A language that the office does not speak is that of the pages met on a tablet."""
    return code in OFFICE or name in on_tablets.TEMPLATES


def rooms(code: str) -> dict[str, list[Entry]]:
    """What each file holds: a piece of one folder of templates in its file, a piece of several in `shared`."""
    found: dict[str, list[tuple[str, str]]] = {}
    for name, texts in templates(code).items():
        for at, text in enumerate(texts):
            found.setdefault(text, []).append((name, _between(texts, at)))
    sorted_out: dict[str, list[Entry]] = {}
    for text, places in found.items():
        names = tuple(name for name, _ in places)
        own = {room_of(name) for name in names}
        entry = Entry(tuple(f"templates/{name}" for name in names), places[0][1] if len(text) < SHORT else "", text)
        sorted_out.setdefault(own.pop() if len(own) == 1 else SHARED, []).append(entry)
    return dict(sorted(sorted_out.items()))


def room_of(template: str) -> str:
    folder, slash, _ = template.partition("/")
    return folder if slash and folder not in IN_THE_FRAME else FRAME


def of_the_code(code: str) -> dict[str, list[Entry]]:
    """What the code and the office's scripts say; what the floor's catalogue of refusals has already is left out."""
    known = {english for _, english in _compiled([folder_of_the_code(code) / "refusals.po"])}
    found = {"labels": labels(), "sentences": sentences()}
    of_python = {
        domain: [
            Entry((f"qcapp/{places[0]}",), "", text)
            for text, places in texts.items()
            if text not in known and (code in OFFICE or any(one.startswith(on_tablets.MODULES) for one in places))
        ]
        for domain, texts in found.items()
    }
    if code not in OFFICE:
        return of_python
    return of_python | {"scripts": [Entry((place,), "", text) for text, place in script_words().items()]}


def folder_of_the_code(code: str) -> Path:
    return catalogues(code).parent / "LC_MESSAGES"


def said_so_far(code: str) -> dict[Key, str]:
    """What the .po files of the templates say now, compiled afresh. Raises CalledProcessError where one is none."""
    return _compiled(sorted(catalogues(code).glob("*.po")))


def said_by_the_code(code: str) -> dict[Key, str]:
    """The same of labels, sentences and scripts."""
    files = (folder_of_the_code(code) / f"{domain}.po" for domain in ("labels", "sentences", "scripts"))
    return _compiled([file for file in files if file.is_file()])


def _compiled(files: Iterable[Path]) -> dict[Key, str]:
    found: dict[Key, str] = {}
    for file in files:
        compiled = file.with_suffix(".mo")
        subprocess.run(["msgfmt", "--check-format", "-o", compiled, file], check=True, timeout=30)  # noqa: S603, S607
        found |= words_of_file(compiled)
    return found


def faults(english: str, other: str) -> list[str]:
    """What a translation gets wrong: it shows other values than the English, or dresses its words otherwise."""
    found = []
    if expressions(english) != expressions(other):
        found.append("not the same {{ expressions }}")
    if strange := counted(other) - counted(english) - {_inside(value) for value in expressions(english)}:
        found.append(f"an ending is counted by {sorted(strange)}")
    if dressing(english) != dressing(other):
        found.append("not the same tags")
    if "{%" in other or "{#" in other or (english[-1] == ".") != (other[-1] == "."):
        found.append("a template tag, or another end of the sentence")
    return found


def misplaced(english: str, other: str) -> bool:
    """True where a sentence does not name what the English names; an English ending may be left out."""
    named, said = (set(re.findall(r"{(\d)[}?]", text)) for text in (english, other))
    endings = set(re.findall(r"(?<=[a-z]){(\d)}", english))
    return not named - endings <= said <= named


def _inside(value: str) -> str:
    return value.strip("{} ")


def as_po(code: str, room: str, entries: list[Entry], said: dict[Key, str]) -> str:
    """The text of a file."""
    blocks = (block for entry in entries for block in _blocks(entry, said))
    return HEAD.format(room=room, code=code) + "".join(blocks)


def _blocks(entry: Entry, said: dict[Key, str]) -> Iterator[str]:
    notes = "".join(f"#: {name}\n" for name in entry.places[:4])
    if entry.between:
        notes = f"#. {entry.between}\n{notes}"
    message = f"msgid {_quoted(entry.english)}\n"
    yield f"\n{notes}{message}msgstr {_quoted(said.get(('', entry.english), ''))}\n"
    for name in entry.places:
        template = name.removeprefix("templates/")
        if other := said.get((template, entry.english)):
            yield f"\nmsgctxt {_quoted(template)}\n{message}msgstr {_quoted(other)}\n"


def _between(texts: list[str], at: int) -> str:
    before = texts[at - 1] if at else ""
    after = texts[at + 1] if at + 1 < len(texts) else ""
    return f"… {before[-60:]} [ {texts[at]} ] {after[:60]} …"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n")
    return f'"{escaped}"'
