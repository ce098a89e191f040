"""Faults in a mill's file, each with the key it stands at and its cure."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from pipeline.base import Said, figure, joined, said
from pipeline.mill.sections import Section

SectionT = TypeVar("SectionT", bound=Section)


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong: the key, what is wrong with it, and the cure."""

    key: str
    problem: str
    cure: str

    @property
    def line(self) -> str:
        """All of it in one line, which can still be said in another tongue."""
        end = "" if self.cure.endswith(("?", ".")) else "."
        return said(
            "{key}: {problem}. {cure}{end}",
            key=self.key,
            problem=self.problem,
            cure=self.cure,
            end=end,
        )

    def __str__(self) -> str:
        """One line."""
        return str(self.line)


def nearest(word: str, known: Iterable[str], otherwise: str) -> str:
    """``Did you mean "x"?`` when one of `known` looks like `word`, else `otherwise`."""
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.6)
    return said('Did you mean "{word}"?', word=close[0]) if close else otherwise


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
        faults.append(
            Fault(
                key,
                said("is not a section"),
                said("Write it as [{key}] with keys below it", key=key),
            )
        )
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
        cure = nearest(last, known, said("Known keys: {known}", known=", ".join(sorted(known))))
        return Fault(path, said("is not a known key"), cure)
    if kind == "missing":
        return Fault(path, said("is missing"), said("Add a line: {last} = ...", last=last))
    if kind == "literal_error":
        choices = item["ctx"]["expected"].replace("'", '"')
        words = [word.strip('" ') for word in choices.replace(" or ", ",").split(",")]
        *others, last_word = (f'"{word}"' for word in words)
        choices = joined(said(" or "), [", ".join(others), last_word] if others else [last_word])
        return Fault(
            path,
            said('"{given}" is not known', given=given),
            nearest(str(given), words, said("Use {known}", known=choices)),
        )
    if kind == "string_pattern_mismatch":
        return Fault(
            path,
            said('"{given}" is not written as expected', given=given),
            _pattern_cure(item["loc"]),
        )
    problem = _problem(item)
    if isinstance(given, str | int | float):
        problem = said("{problem} (given: {given})", problem=problem, given=repr(given))
    return Fault(path, problem, said("Correct the value"))


#: What pydantic complains of most, in words that have others in each tongue; values as it has them.
_PROBLEMS: Final[Mapping[str, str]] = {
    "greater_than": said("must be greater than {gt}"),
    "greater_than_equal": said("must be greater than or equal to {ge}"),
    "less_than": said("must be less than {lt}"),
    "less_than_equal": said("must be less than or equal to {le}"),
    "finite_number": said("must be a finite number"),
    "float_type": said("must be a valid number"),
    "float_parsing": said("must be a valid number, unable to parse string as a number"),
    "int_type": said("must be a valid integer"),
    "int_parsing": said("must be a valid integer, unable to parse string as an integer"),
    "int_from_float": said("must be a valid integer, got a number with a fractional part"),
    "string_type": said("must be a valid string"),
    "string_too_short": said("string should have at least {min_length} characters"),
    "string_too_long": said("string should have at most {max_length} characters"),
    "bool_type": said("must be a valid boolean"),
    "bool_parsing": said("must be a valid boolean, unable to interpret input"),
    "date_type": said("must be a valid date"),
    "list_type": said("must be a valid list"),
    "tuple_type": said("must be a valid tuple"),
    "dict_type": said("must be a valid dictionary"),
    "too_short": said("should have at least {min_length} items"),
    "too_long": said("should have at most {max_length} items"),
}


def _problem(item: ErrorDetails) -> str:
    """What is wrong with a value: our own words where there are some, else the library's."""
    values = item.get("ctx", {})
    own = getattr(values.get("error"), "args", ())
    if own and isinstance(own[0], Said):
        return own[0]
    if item["type"] in _PROBLEMS:
        made = _PROBLEMS[item["type"]]
        return said(str(made), **{name: _plain(value) for name, value in values.items()})
    message = item["msg"].removeprefix("Value error, ").replace("Input should be", "must be")
    return message[0].lower() + message[1:]


def _plain(value: object) -> object:
    """A bound as it is written: 0, not 0.0; of a number a tongue parts the digits."""
    return figure(value, "g") if isinstance(value, float) else value


def _pattern_cure(loc: Sequence[int | str]) -> str:
    """How a value is to be written, found by its key."""
    return _PATTERN_CURES.get(str(loc[0]) if loc else "", _NAME)


_NAME = said("Use lower-case letters, digits and _ only, such as clear_juice_tank")
_ADDRESS = said("Write a mail address")
_TIME = said('Write local times as "05:00"')
_VARIABLE = said("Use a variable of lostpol's own, whose name starts so: LOSTPOL_PLANT_PASSWORD")
_PATTERN_CURES = {
    "currency": said('Use the three-letter code of ISO 4217, such as "USD"'),
    "nightly": _TIME,
    "weekly": _TIME,
    "starts": _TIME,
    "url_env": _VARIABLE,
    "password_env": _VARIABLE,
    "listen": said('Write an address of this machine and a port, such as "127.0.0.1:4242"'),
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
