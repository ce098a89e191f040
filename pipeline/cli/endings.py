"""How a command ends that was typed wrong, or whose reader has had enough."""

from __future__ import annotations

import os
import re
import sys
from datetime import date
from typing import Any, get_args

from cyclopts import CycloptsError

from pipeline.base import ConfigError, LostpolError
from pipeline.words import joined, said

_MEANT = re.compile(r'Did you mean "?(?P<word>[^\s"?]+)"?\?')
_BOUND = re.compile(r"Must be (?P<bound>[<>]=? \S+?)\.?$")


def as_said(error: LostpolError | CycloptsError) -> LostpolError:
    """An error in three lines, whoever noticed it."""
    if isinstance(error, LostpolError):
        return error
    return ConfigError(_what(error), said("command line"), _cure_of(error))


def _what(error: CycloptsError) -> str:
    """What was typed wrong; what the library has no kind for stays in its words."""
    told = _BY_KIND.get(type(error).__name__)
    what = told(error) if told is not None else str(error)
    meant = _MEANT.search(str(error))
    return said('{what} Did you mean "{word}"?', what=what, word=meant["word"]) if meant else what


def _unused(error: Any) -> str:  # noqa: ANN401 - each kind of error has fields of its own
    return said(
        "What these words are for is not known: {words}.",
        words=joined(", ", [f"'{word}'" for word in error.unused_tokens or ()]),
    )


def _unknown_option(error: Any) -> str:  # noqa: ANN401
    option = error.token.keyword or error.token.value
    return said("There is no option {option} here.", option=option)


def _missing(error: Any) -> str:  # noqa: ANN401
    name = error.keyword or _name(error)
    return said("{name} is missing, or has no value.", name=name)


def _unreadable(error: Any) -> str:  # noqa: ANN401
    typed, name = getattr(error.token, "value", ""), _name(error)
    if choices := [str(word) for word in get_args(error.target_type)]:
        return said(
            "{name} cannot be {typed}. There are: {choices}.",
            name=name,
            typed=repr(typed),
            choices=", ".join(choices),
        )
    return said("{name} cannot be {typed}.", name=name, typed=repr(typed))


def _refused(error: Any) -> str:  # noqa: ANN401
    bound = _BOUND.search(error.exception_message)
    if bound is None:
        return str(error)
    return said("{name} must be {bound}.", name=_name(error), bound=bound["bound"])


def _repeated(error: Any) -> str:  # noqa: ANN401
    return said("{name} was given more than once.", name=error.token.keyword)


_BY_KIND = {
    "UnknownCommandError": _unused,
    "UnusedCliTokensError": _unused,
    "UnknownOptionError": _unknown_option,
    "MissingArgumentError": _missing,
    "CoercionError": _unreadable,
    "ValidationError": _refused,
    "RepeatArgumentError": _repeated,
}


def _name(error: Any) -> str:  # noqa: ANN401
    """Name of an argument as help writes it: an option, or a word in capitals."""
    token, argument = getattr(error, "token", None), error.argument
    if token is not None and token.keyword:
        return str(token.keyword)
    if argument is None:
        return ""
    return str(argument.name) if argument.field_info.is_keyword else _in_capitals(argument.name)


def _in_capitals(name: str) -> str:
    return name.lstrip("-").upper()


def _cure_of(error: CycloptsError) -> str:
    """How the form that was wanted is written, else where it is explained."""
    kind = getattr(error, "target_type", None)
    token = getattr(error, "token", None)
    if kind is date and token is not None:
        typed = f"{token.keyword or ''} 2025-11-01".strip()
        return said("Write a day as year-month-day: {typed}", typed=typed)
    command = " ".join(getattr(error, "command_chain", None) or ())
    if command:
        return said("How it is written: lostpol {command} --help", command=command)
    return said("Run lostpol --help: it lists the commands.")


def nobody_reads() -> int:
    """End quietly: who reads what is written, such as ``head``, has had enough."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0
