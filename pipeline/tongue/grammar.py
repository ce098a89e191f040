"""What happens to words where a value meets them: a preposition and its article become one."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Final

_PLACE: Final = re.compile(r"(?:\b(?P<before>de|a|em|por|à) )?\{(?P<name>\w+)\}")
_ARTICLE: Final = re.compile(r"(el|le|les|o|a|os|as) ")
#: What a preposition and the article behind it become, by language.
_PAIRS: Final[Mapping[str, Mapping[str, str]]] = {
    "es": {"de el": "del", "a el": "al"},
    "pt": {
        **{"de o": "do", "de a": "da", "de os": "dos", "de as": "das"},
        **{"em o": "no", "em a": "na", "em os": "nos", "em as": "nas"},
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
    pairs = _PAIRS.get(language, {})

    def put(place: re.Match[str]) -> str:
        before, name = place["before"], place["name"]
        if name not in values:
            return place[0]
        value = values[name]
        article = _ARTICLE.match(value) if before and name in ours else None
        if article and (one := pairs.get(f"{before} {article[1]}")):
            return f"{one} {value[article.end() :]}"
        return f"{before} {value}" if before else value

    return _PLACE.sub(put, words)
