"""How a text was made, written beside its English in a store, so that it can be said anew.

The English stands there in full; what is written beside it only serves readers of other tongues.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date
from typing import Any, Final

from pipeline.base import (
    Amount,
    Day,
    Edited,
    Figure,
    Measured,
    Parts,
    Phrase,
    Said,
    Stored,
    amount,
    counted,
    joined,
    said,
    stored,
)
from pipeline.words.localtime import day_words

#: What may have been done to a text.
_METHODS: Final = frozenset(
    {"capitalize", "lower", "upper", "strip", "lstrip", "rstrip", "removeprefix", "removesuffix"}
)
#: What parts a text; numbers among what it was given are how often.
_PARTED: Final = frozenset({"split", "partition", "rpartition"})


def packed(text: object) -> Any:  # noqa: ANN401 - what JSON can hold
    """Write down how a text was made; what was not made here is written as it is."""
    return _PACK[type(text.made)](text, text.made) if isinstance(text, Said) else text


def _phrase(_text: Said, made: Phrase) -> dict[str, Any]:
    plural = {"many": made.many, "number": made.number} if made.many else {}
    return {"say": made.message} | _with(made.values) | plural


def _with(values: Mapping[str, object]) -> dict[str, Any]:
    return {"with": {name: packed(value) for name, value in values.items()}} if values else {}


def _stored(text: Said, made: Stored) -> dict[str, Any]:
    return {"stored": made.form or str(text)} | _with(made.values)


def _edited(text: Said, made: Edited) -> object:
    if made.method == "__getitem__" and isinstance(made.arguments[0], slice):
        part = made.arguments[0]
        return {"cut": [part.start, part.stop], "of": packed(made.text)}
    if made.method not in (_METHODS if made.part is None else _PARTED):
        return str(text)
    arguments = [packed(argument) for argument in made.arguments]
    told = {"edit": made.method, "of": packed(made.text), "by": arguments}
    return told if made.part is None else told | {"part": made.part}


_PACK: Final[Mapping[type, Callable[[Said, Any], object]]] = {
    Phrase: _phrase,
    Stored: _stored,
    Edited: _edited,
    Figure: lambda text, _: {"figure": str(text)},
    Parts: lambda _, made: {"join": packed(made.between), "of": [packed(t) for t in made.texts]},
    Day: lambda _, made: {"day": made.day.isoformat(), "year": made.with_year},
    Measured: lambda _, made: packed(made.text),
    Amount: lambda _, made: {"amount": packed(made.sum), "in": made.currency},
}


def unpacked(held: object, text: str) -> str:
    """Make a text again from what `packed` wrote; `text` itself where that cannot be read.

    Parameters
    ----------
    held : object
        From a store, to be read with patience.
    text : str
        The English beside it: what it must come to.
    """
    try:
        made = _made(held)
    except (
        AttributeError,
        IndexError,
        KeyError,
        RecursionError,
        StopIteration,
        TypeError,
        ValueError,
    ):
        return stored(text)
    return made if made == text else stored(text)


def _made(held: Any) -> str:  # noqa: ANN401 - from JSON
    if not isinstance(held, Mapping):
        return str(held)
    kind = next(name for name in _MAKE if name in held)
    return _MAKE[kind](held)


def _values(held: Mapping[str, Any]) -> dict[str, object]:
    return {
        str(name): value if isinstance(value, int | float) else _made(value)
        for name, value in dict(held.get("with", {})).items()
    }


def _said(held: Mapping[str, Any]) -> str:
    values = _values(held)
    if "many" not in held:
        return said(str(held["say"]), **values)
    values.pop("n", None)
    return counted(held["number"], str(held["say"]), str(held["many"]), **values)


def _day(held: Mapping[str, Any]) -> str:
    day = date.fromisoformat(held["day"])
    return day_words(day, None if held["year"] else day.year)


def _cut(held: Mapping[str, Any]) -> str:
    start, stop = held["cut"]
    return _made(held["of"])[start:stop]


def _again(held: Mapping[str, Any]) -> str:
    parted = "part" in held
    if held["edit"] not in (_PARTED if parted else _METHODS):
        raise ValueError(held["edit"])
    arguments = [one if isinstance(one, int) else _made(one) for one in held["by"]]
    edited = getattr(_made(held["of"]), held["edit"])(*arguments)
    made: str = edited[held["part"]] if parted else edited
    return made


_MAKE: Final[Mapping[str, Callable[[Mapping[str, Any]], str]]] = {
    "say": _said,
    "figure": lambda held: Said(str(held["figure"]), Figure()),
    "join": lambda held: joined(_made(held["join"]), [_made(part) for part in held["of"]]),
    "day": _day,
    "amount": lambda held: amount(str(held["in"]), _made(held["amount"])),
    "stored": lambda held: stored(str(held["stored"]), **_values(held)),
    "edit": _again,
    "cut": _cut,
}
