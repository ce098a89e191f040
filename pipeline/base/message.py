"""Text that remembers how it was made, so that a page can say it again in its reader's tongue.

A `Said` is a string: its English. Whoever knows no other tongue takes it as it is. It also keeps
its message id with the values that were filled in, and what was done to it since (a part cut off,
a first letter made small), so that `pipeline.tongue` can do the same in another language. Only
text made here is ever translated: what came from an export or was typed by people is an ordinary
string, and stays as it stands.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any, Final, SupportsIndex

_SLOT: Final = re.compile(r"\{(\w+)\}")


@dataclass(frozen=True, slots=True)
class Phrase:
    """A message id with values by name; `many` is its other form, for `number` things."""

    message: str
    values: dict[str, object]
    many: str = ""
    number: float = 1


@dataclass(frozen=True, slots=True)
class Figure:
    """A number as it was rounded; a tongue changes nothing but what parts its digits."""


@dataclass(frozen=True, slots=True)
class Parts:
    """Texts in a row, with a separator between them."""

    between: str
    texts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Edited:
    """What a method of strings made of a text; `part` of what it gave, where that was a list."""

    text: str
    method: str
    arguments: tuple[Any, ...]
    part: int | None = None


@dataclass(frozen=True, slots=True)
class Day:
    """A local date, with or without its year."""

    day: date
    with_year: bool


@dataclass(frozen=True, slots=True)
class Measured:
    """A value with its unit: its text, and what writes it anew, `write(value, low, high, unit)`."""

    text: str
    write: Callable[..., str]
    value: object
    low: object
    high: object
    unit: str


@dataclass(frozen=True, slots=True)
class Stored:
    """A sentence that a search wrote in English: kept as text, or as a form and its values."""

    form: str = ""
    values: Mapping[str, object] = field(default_factory=dict)


#: Methods that change letters, so what they do depends on the language.
_OF_LETTERS: Final = frozenset({"capitalize", "lower", "upper"})


@dataclass(frozen=True, slots=True)
class Amount:
    """A sum of money and the code of its currency; a country says which of them stands first."""

    currency: str
    sum: str


Made = Phrase | Figure | Parts | Edited | Day | Measured | Stored | Amount


def _edit(method: str) -> Callable[..., Any]:
    plain = getattr(str, method)

    def edited(self: Said, *arguments: Any) -> Any:  # noqa: ANN401
        result = plain(self, *arguments)
        if isinstance(result, list | tuple):
            parts = [Said(p, Edited(self, method, arguments, n)) for n, p in enumerate(result)]
            return type(result)(parts)
        # What is small already in English may begin with a capital in another language.
        idle = result == str(self) and method not in _OF_LETTERS
        return self if idle else Said(result, Edited(self, method, arguments))

    edited.__name__ = method
    edited.__doc__ = plain.__doc__
    return edited


class Said(str):
    """Text with how it was made.

    Parameters
    ----------
    text : str
        Its English.
    made : Made
        What a tongue makes its own words from.
    """

    __slots__ = ("made",)
    made: Made

    def __new__(cls, text: str, made: Made | None = None) -> Said:
        """Make a text; without `made` it is a message without places."""
        self = super().__new__(cls, text)
        self.made = Phrase(text, {}) if made is None else made
        return self

    capitalize = _edit("capitalize")
    lower = _edit("lower")
    upper = _edit("upper")
    strip = _edit("strip")
    lstrip = _edit("lstrip")
    rstrip = _edit("rstrip")
    removeprefix = _edit("removeprefix")
    removesuffix = _edit("removesuffix")
    replace = _edit("replace")
    split = _edit("split")
    partition = _edit("partition")
    rpartition = _edit("rpartition")

    def __getitem__(self, key: SupportsIndex | slice) -> Said:
        return Said(str.__getitem__(self, key), Edited(self, "__getitem__", (key,)))

    def __add__(self, other: str) -> str:
        return joined("", (self, other))

    def __radd__(self, other: str) -> str:
        return joined("", (other, self))


def filled(message: str, values: Mapping[str, object]) -> str:
    """Put values into the places of a message; a place without a value stays as it is written."""
    return _SLOT.sub(lambda slot: str(values.get(slot[1], slot[0])), message)


def said(message: str, **values: object) -> str:
    """Say a message of the catalogues.

    Parameters
    ----------
    message : str
        English text, with places such as ``{mass}`` for values.
    values
        What stands in the places: text, or a whole number. Numbers with decimals come from
        :func:`figure`.

    Returns
    -------
    Said
    """
    return Said(filled(message, values) if values else message, Phrase(message, values))


def counted(number: float, one: str, many: str, **values: object) -> str:
    """Say a message whose form depends on a number, which stands in its place ``{n}``."""
    values = {"n": number, **values}
    return Said(filled(one if number == 1 else many, values), Phrase(one, values, many, number))


def figure(value: object, form: str = "") -> str:
    """Write a number by a format such as ``.1f``; a tongue will only part its digits anew."""
    return Said(format(value, form), Figure())


def amount(currency: str, sum_: str) -> str:
    """Put a currency's code to a sum, or to an interval of sums: ``USD 1,900``."""
    return Said(f"{currency} {sum_}", Amount(currency, sum_)) if currency else sum_


def joined(between: str, texts: Iterable[object]) -> str:
    """Join texts as :meth:`str.join` does."""
    parts = tuple(text if isinstance(text, str) else str(text) for text in texts)
    return Said(str(between).join(parts), Parts(between, parts))


def stored(text: str, **values: object) -> Said:
    """Take text of the store for a sentence of the search; one that is not stays as it is.

    Parameters
    ----------
    text : str
        The sentence, or its form with places for `values`.
    """
    return Said(filled(text, values) if values else text, Stored(text, values))
