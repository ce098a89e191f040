"""Sentences that a search wrote in English, found again among the messages of a catalogue.

What the lake keeps stays readable as it lies there: English. Its sentences are few and known, so
the message and the values that made one can be told from it. What is not known stays English.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import Final

from pipeline.tongue.grammar import fitted, signed

#: Where one sentence ends and the next begins.
_BETWEEN: Final = re.compile(r"(?<=[.;]) (?=[A-Z0-9{])|(?<=\{why\}) (?=[A-Z])")
_SLOT: Final = re.compile(r"\\\{(\w+)\\\}")
_PLACE: Final = re.compile(r"\{\w+\}")
#: Places of a sentence that hold names of the mill's own, which are never translated.
_GIVEN: Final = frozenset({"tag", "vessel", "name", "note", "author", "probe", "file"})
_NUMBER: Final = re.compile(r"[+-]?[\d,]*\.?\d+(?:e[+-]?\d+)?")

Words = Callable[[str], str]


def sentences(text: str) -> list[str]:
    """Part a text into its sentences."""
    return _BETWEEN.split(text.strip())


class Sentences:
    """Messages that the search makes its sentences of.

    Parameters
    ----------
    language : str
    messages : iterable of str
        Their ids.
    words : callable
        Gives the words for an id.
    digits : callable
        Parts the digits of a number.
    """

    def __init__(self, language: str, messages: Iterable[str], words: Words, digits: Words) -> None:
        self._language = language
        known = list(messages)
        self._whole = {message for message in known if "{" not in message}
        open_ones = sorted((m for m in known if "{" in m), key=_own_letters, reverse=True)
        self._open = [(m, re.compile(_SLOT.sub(_group, re.escape(m)))) for m in open_ones]
        self._words, self._digits = words, digits

    def say(self, text: str) -> str:
        """Say a text of the search; sentences that are not known stay as they are."""
        return " ".join(self._sentence(sentence) for sentence in sentences(text))

    def _sentence(self, text: str) -> str:
        known = self._known(text)
        if known is None:
            lower = text[:1].lower() + text[1:]
            known = self._known(lower)
            if known is None:
                return self._apart(text)
            return known[:1].upper() + known[1:]
        return known

    def _apart(self, text: str) -> str:
        """Say the parts of a text that is not known as a whole."""
        for between in ("; ", ": "):
            head, found, rest = text.partition(between)
            if found:
                said = self._known(head)
                sign = signed(self._language, between)
                return f"{head if said is None else said}{sign}{self._sentence(rest)}"
        return text

    def _known(self, text: str) -> str | None:
        if text in self._whole:
            return self._words(text)
        for message, pattern in self._open:
            found = pattern.fullmatch(text)
            if found is not None:
                return self._filled(message, found.groupdict())
        return None

    def _filled(self, message: str, values: dict[str, str]) -> str:
        told = {name: self._captured(name, value) for name, value in values.items()}
        ours = frozenset(told) - _GIVEN
        return fitted(self._language, self._words(message), told, ours)

    def _captured(self, name: str, value: str) -> str:
        if name in _GIVEN or not value or value.startswith("{"):
            return value
        number = _NUMBER.match(value)
        if number and number.end() == len(value):
            return self._digits(value)
        known = self._known(value.strip())
        if known is not None:
            return value.replace(value.strip(), known)
        if number and value[number.end()] == " ":
            return self._digits(number[0]) + value[number.end() :]
        return value


def _group(slot: re.Match[str]) -> str:
    return f"(?P<{slot[1]}>.*?)"


def _own_letters(message: str) -> int:
    return len(_PLACE.sub("", message))
