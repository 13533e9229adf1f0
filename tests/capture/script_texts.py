"""The texts of a script, piece by piece, in the order they are written: as much of JavaScript as that takes."""

from __future__ import annotations

import re

PIECE = re.compile(
    r"""(?P<gap>\s+|//[^\n]*|/\*.*?\*/)|(?P<text>"(?:[^"\\]|\\.)*"|'(?:[^'\\]|\\.)*')|[\w$.]+|.""", re.DOTALL
)
PATTERN = re.compile(r"/(?![/*])(?:[^/\\\[\n]|\\.|\[(?:[^\]\\\n]|\\.)*\])+/[a-z]*")
TEMPLATE = re.compile(r"(?:[^`\\$]|\\.|\$(?!\{))*(`|\$\{)", re.DOTALL)  # up to its end, or to a place that is filled in
BEFORE_A_PATTERN = re.compile(r"return|[(,=:\[!&|?{};+*%<>~^-]?")


def texts_of(script: str) -> list[str]:
    """What stands in quotation marks, in template literals between their places, and in regular expressions."""
    found: list[str] = []
    filled: list[int] = []  # of each template around here: how many braces are open in the place that is filled in
    at, before = 0, ""
    while at < len(script):
        here = script[at]
        if here == "`" or (here == "}" and filled and filled[-1] == 0):
            piece = TEMPLATE.match(script, at + 1)
            if here == "}":
                filled.pop()
            if piece and piece[1] == "${":
                filled.append(0)
        elif here == "/" and BEFORE_A_PATTERN.fullmatch(before) and PATTERN.match(script, at):
            piece = PATTERN.match(script, at)
        else:
            piece = PIECE.match(script, at)
            if filled and here in "{}":
                filled[-1] += 1 if here == "{" else -1
        assert piece, script[at : at + 40]
        if here in "`}\"'/" and len(piece[0]) > 1 and piece.lastgroup != "gap":
            found.append(piece[0])
        if piece.lastgroup != "gap":
            before = "`" if piece[0].endswith("`") else piece[0][-1] if piece[0] != "return" else "return"
        at = piece.end()
    return found
