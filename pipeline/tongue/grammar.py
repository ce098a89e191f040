"""What happens to words where a value meets them, and to signs where they meet a word."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

_PLACE: Final = re.compile(r"(?:\b(?P<before>de|a|em|por|à) )?\{(?P<name>\w+)\}")
_ARTICLE: Final = re.compile(r"(el|le|les|o|a|os|as|estes?|estas?) ")
_SPACE: Final = "\u00a0"
#: A sign that French parts from the word before it; the end of an entity is none.
_SIGN: Final = re.compile(
    r"&#?\w+;|(?P<space>[ \u00a0\u202f]?)(?P<sign>[:;!?])(?=[\s<]|$)| (?P<share>%|\{unit\})"
)
#: Spaces within the marks of a quotation.
_QUOTED: Final = re.compile(r"(?<=«) | (?=»)")
#: What a preposition and the article behind it become, by language.
_PAIRS: Final[Mapping[str, Mapping[str, str]]] = {
    "es": {"de el": "del", "a el": "al"},
    "pt": {
        **{"de o": "do", "de a": "da", "de os": "dos", "de as": "das"},
        **{"em o": "no", "em a": "na", "em os": "nos", "em as": "nas"},
        **{"em este": "neste", "em esta": "nesta", "em estes": "nestes", "em estas": "nestas"},
        **{"de este": "deste", "de esta": "desta", "de estes": "destes", "de estas": "destas"},
        **{"a o": "ao", "a a": "à", "a os": "aos", "a as": "às", "por o": "pelo", "por a": "pela"},
    },
    "fr": {"de le": "du", "à le": "au", "de les": "des", "à les": "aux"},
}


def fitted(language: str, words: str, values: Mapping[str, str], ours: frozenset[str]) -> str:
    """Put values into the places of words.

    Parameters
    ----------
    language : str
    words : str
        With places such as ``{place}``; one without a value stays as it is written.
    values : mapping of str to str
        What stands in them.
    ours : frozenset of str
        Places whose value was said here: only such a value may lose its article.
    """

    def put(place: re.Match[str]) -> str:
        before, name = place["before"], place["name"]
        if name not in values:
            return place[0]
        value = values[name]
        return met(language, before, value, ours=name in ours) if before else value

    return _PLACE.sub(put, words)


def met(language: str, before: str, value: str, *, ours: bool) -> str:
    """Put a preposition before a value, whose article it takes in.

    Parameters
    ----------
    language, before, value : str
    ours : bool
        The value was said here: only then may it lose its article.
    """
    article = _ARTICLE.match(value) if ours else None
    if article and (one := _PAIRS.get(language, {}).get(f"{before} {article[1]}")):
        return f"{one} {value[article.end() :]}"
    return f"{before} {value}"


def prepositions(language: str) -> str:
    """Prepositions of a language that take in an article, as alternatives of a pattern."""
    return "|".join(sorted({pair.split(" ")[0] for pair in _PAIRS.get(language, {})}))


def signed(language: str, words: str) -> str:
    """Put the spaces about signs that a language asks for.

    French parts colon, semicolon, question and exclamation mark, per cent sign and units from what
    stands before them, and what it quotes from its marks, by a space at which no line ends.
    """
    if language != "fr":
        return words

    def put(found: re.Match[str]) -> str:
        sign = found["sign"] or found["share"]
        return f"{_SPACE}{sign}" if sign else found[0]

    return _SIGN.sub(put, _QUOTED.sub(_SPACE, words))
