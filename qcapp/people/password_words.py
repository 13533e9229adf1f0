"""Which words make a password easy to guess here: those of the trade, of the product, of the calendar, of the house.

A word is no harm in a password; a password that is hardly anything else is. docs/security.md has the list as well.
"""

from __future__ import annotations

import re
import unicodedata
from urllib.parse import urlsplit

from django.conf import settings
from django.core.exceptions import ValidationError

LEFT_AT_LEAST = 8  # characters beside such words
SHORTEST_WORD = 3
TRADE = """
assembler audit axle bench calibration caliper certificate check checkpoint conformity coordinator customer delivery
dispatch engineer fixture fork frame frames gauge goods heat hold inspect inspection inspections inspector keeper lot
manager metrology plan qcapp quality release report serial stage steel tablet tank trike tube unit weld welder welding
welds workshop
"""
EVERYBODY = """
abril admin administrator agosto april asdfgh august autumn bienvenido clave contrasena december dezember diciembre
dienstag donnerstag enero febrero februar february freitag friday fruehling fruhling geheim hallo hello herbst hola
invierno januar january juli julio july june juni junio kennwort letmein login maerz mai march marz marzo master may
mayo mittwoch monday montag november noviembre october octubre oktober otono password passwort primavera qwerty qwertz
samstag saturday secret september septiembre sommer sonntag spring summer sunday test thursday tuesday user verano
wednesday welcome willkommen winter
"""
OF_THE_TRADE, OF_EVERYBODY = frozenset(TRADE.split()), frozenset(EVERYBODY.split())
DIGITS_FOR_LETTERS = str.maketrans("0134578@$!", "oieastbasi")


def words_of_the_site() -> frozenset[str]:
    """The words of the site's name, place and address, and those that the keeper has added."""
    host = urlsplit(settings.QCAPP_PUBLIC_URL).hostname or ""
    told = [settings.QCAPP_SITE_NAME, settings.QCAPP_SITE_PLACE, host, settings.QCAPP_PASSWORD_WORDS]
    found = re.split(r"[\W_]+", _plain(" ".join(told)))
    return frozenset(word for word in found if len(word) >= SHORTEST_WORD and not word.isdigit())


def guessed_words(password: str) -> list[str]:
    """The words in it, longest first, when hardly anything stands beside them; none where enough does.

    Digits that stand for letters count as letters too, and blanks hide no word: each reading is tried.
    """
    words = sorted(OF_THE_TRADE | OF_EVERYBODY | words_of_the_site(), key=lambda word: (-len(word), word))
    plain = _plain(password)
    readings = (plain, plain.translate(DIGITS_FOR_LETTERS))
    for text in (*readings, *(re.sub(r"[\W_]+", "", reading) for reading in readings)):
        found = [word for word in words if word in text]
        if found and len(_rest(text, found)) < LEFT_AT_LEAST:
            return found
    return []


def _rest(text: str, words: list[str]) -> str:
    for word in words:
        text = text.replace(word, " ")
    return re.sub(r"[\W_]+", "", text)


def _plain(text: str) -> str:
    """In small letters without accents."""
    apart = unicodedata.normalize("NFKD", text.casefold())
    return "".join(character for character in apart if not unicodedata.combining(character))


class OwnWordsValidator:
    """Refuses a password of which fewer than eight characters are left beside words that everybody here would try."""

    def validate(self, password: str, user: object = None) -> None:
        """Raises ValidationError `password_of_own_words`."""
        if guessed_words(password):
            message = (
                "This password is little more than words of the trade, the house or the calendar, which are tried "
                "first. Add words that have nothing to do with your work."
            )
            raise ValidationError(message, code="password_of_own_words")

    def get_help_text(self) -> str:
        """What a page may show beside the field."""
        return "Not made of words of the trade, the house or the calendar alone."
