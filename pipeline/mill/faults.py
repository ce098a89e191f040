"""Faults in a mill's file, each with the key it stands at and its cure."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from pipeline.mill.sections import Section

SectionT = TypeVar("SectionT", bound=Section)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong: the key, what is wrong with it, and the cure."""

    key: str
    problem: str
    cure: str

    def __str__(self) -> str:
        """One line."""
        end = "" if self.cure.endswith(("?", ".")) else "."
        return f"{self.key}: {self.problem}. {self.cure}{end}"


def nearest(word: str, known: Iterable[str], otherwise: str) -> str:
    """``Did you mean "x"?`` when one of `known` looks like `word`, else `otherwise`."""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return f'Did you mean "{close[0]}"?' if close else otherwise


def quoted(words: Iterable[str]) -> str:
    """Words in quotes, separated by commas."""
    return ", ".join(f'"{word}"' for word in words)


def text_at(section: object, key: str) -> str:
    """Text at `key` of a raw section, empty when it is absent or no text."""
    value = section.get(key, "") if isinstance(section, dict) else ""
    return value if isinstance(value, str) else ""


def read_section(
    model: type[SectionT], raw: object, key: str, faults: list[Fault]
) -> SectionT | None:
    """Read one section; on failure add its faults to `faults` and give None."""
    if not isinstance(raw, Mapping):
        faults.append(Fault(key, "is not a section", f"Write it as [{key}] with keys below it"))
        return None
    try:
        return model.model_validate(raw)
    except ValidationError as error:
        faults.extend(_fault(model, key, item) for item in error.errors() if not _is_echo(item))
        return None


def _is_echo(item: ErrorDetails) -> bool:
    """Tell a list called empty only because its entries were refused."""
    return item["type"] == "too_short" and bool(item["input"])


def _fault(model: type[Section], key: str, item: ErrorDetails) -> Fault:
    """One pydantic complaint in a chemist's words."""
    counted = (part + 1 if isinstance(part, int) else part for part in item["loc"])
    path = ".".join(str(part) for part in (key, *counted))
    last = str(item["loc"][-1]) if item["loc"] else ""
    kind, given = item["type"], item.get("input")
    if kind == "extra_forbidden":
        known = _known_keys(model, item["loc"])
        cure = nearest(last, known, f"Known keys: {', '.join(sorted(known))}")
        return Fault(path, "is not a known key", cure)
    if kind == "missing":
        return Fault(path, "is missing", f"Add a line: {last} = ...")
    if kind == "literal_error":
        choices = item["ctx"]["expected"].replace("'", '"')
        words = [word.strip('" ') for word in choices.replace(" or ", ",").split(",")]
        return Fault(path, f'"{given}" is not known', nearest(str(given), words, f"Use {choices}"))
    if kind == "string_pattern_mismatch":
        return Fault(path, f'"{given}" is not written as expected', _pattern_cure(item["loc"]))
    problem = item["msg"].removeprefix("Value error, ").replace("Input should be", "must be")
    shown = f" (given: {given!r})" if isinstance(given, str | int | float) else ""
    return Fault(path, problem[0].lower() + problem[1:] + shown, "Correct the value")


def _pattern_cure(loc: Sequence[int | str]) -> str:
    """How a value is to be written, found by its key."""
    return _PATTERN_CURES.get(str(loc[0]) if loc else "", _NAME)


_NAME = "Use lower-case letters, digits and _ only, such as clear_juice_tank"
_ADDRESS = "Write a mail address"
_TIME = 'Write local times as "05:00"'
_VARIABLE = "Use a variable of lostpol's own, whose name starts so: LOSTPOL_PLANT_PASSWORD"
_PATTERN_CURES = {
    "currency": 'Use the three-letter code of ISO 4217, such as "USD"',
    "nightly": _TIME,
    "weekly": _TIME,
    "starts": _TIME,
    "url_env": _VARIABLE,
    "password_env": _VARIABLE,
    "listen": 'Write an address of this machine and a port, such as "127.0.0.1:4242"',
    "sender": _ADDRESS,
    "recipients": _ADDRESS,
}


def _known_keys(model: type[Section], loc: Sequence[int | str]) -> set[str]:
    """Keys allowed where an unknown one was found (one level of nesting is enough)."""
    if len(loc) > 1 and loc[0] == "layout":
        inner = model.model_fields["layout"].annotation
        (layout, *_) = getattr(inner, "__args__", (model,))
        return set(layout.model_fields)
    return set(model.model_fields)
