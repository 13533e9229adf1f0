"""The body of a request, read strictly: a limited size and depth, no NaN, no NUL."""

from __future__ import annotations

import codecs
import json
from typing import IO, Any, NoReturn

from rest_framework import parsers
from rest_framework.exceptions import ParseError

from qcapp.core.errors import Invalid

from .errors import BodyTooLarge

MAX_BODY = 4 * 1024 * 1024  # two hundred of the longest operations need less than two
MAX_DEPTH = 12


class StrictJSONParser(parsers.JSONParser):
    """JSON in UTF-8. Raises ParseError, Invalid `nested_too_deep`, `nul_character`, or BodyTooLarge."""

    one_bad_text_refuses_all = True

    def parse(self, stream: IO[Any], media_type: str | None = None, parser_context: Any = None) -> Any:
        content = stream.read(MAX_BODY + 1)
        if len(content) > MAX_BODY:
            raise BodyTooLarge("body_too_large", f"The body is larger than {MAX_BODY // 1024 // 1024} MB; split it.")
        try:
            text = codecs.decode(content, "utf-8-sig")
            data = json.loads(text, parse_constant=_refuse_constant)
        except (ValueError, RecursionError) as error:
            raise ParseError from error
        if self.one_bad_text_refuses_all:
            check(data)
        return data


class OperationsParser(StrictJSONParser):
    """For operations, which are refused one by one: a NUL in one of them must not stop the others."""

    one_bad_text_refuses_all = False


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not JSON")


def check(data: Any, depth: int = 0) -> None:
    """Raises Invalid for what no resource takes: a NUL in a text or a key, and a body nested too deep."""
    if depth > MAX_DEPTH:
        raise Invalid("nested_too_deep", f"The body is nested deeper than {MAX_DEPTH} levels.")
    if isinstance(data, str):
        if "\0" in data:
            raise Invalid("nul_character", "A text holds a NUL character; remove it.")
    elif isinstance(data, dict):
        for key, value in data.items():
            check(key, depth + 1)
            check(value, depth + 1)
    elif isinstance(data, list):
        for value in data:
            check(value, depth + 1)
