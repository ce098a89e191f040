"""Commands and options, from the command line itself: what ``--help`` shows, by what makes it."""

from __future__ import annotations

import inspect
from dataclasses import dataclass
from datetime import date
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, get_args, get_origin

if TYPE_CHECKING:
    from cyclopts import App, Argument

_DOCSTRING_PART: Final = "\nParameters\n---"
_KINDS: Final[dict[Any, str]] = {
    Path: "file or folder",
    bool: "switch",
    date: "day, as 2025-11-01",
    float: "number",
    int: "whole number",
    str: "text",
}


@dataclass(frozen=True, slots=True)
class Option:
    """One argument or option of a command.

    Attributes
    ----------
    names : tuple of str
        As typed; in capitals where it is known by its place.
    takes : str
        What it may be: a list, or a kind of value.
    default : str
        What is taken without it; empty where that is nothing.
    required : bool
    meaning : str
    """

    names: tuple[str, ...]
    takes: str
    default: str
    required: bool
    meaning: str


@dataclass(frozen=True, slots=True)
class Command:
    """One command: how it is typed, what it is for, what it takes."""

    name: str
    usage: str
    about: tuple[str, ...]
    options: tuple[Option, ...]


def commands_of(app: App) -> tuple[Command, ...]:
    """All commands of a command line, by name."""
    names = sorted(name for name in app if not name.startswith("-"))
    return tuple(_command(app.name[0], name, app[name]) for name in names)


def _command(program: str, name: str, app: App) -> Command:
    taken = [a for a in app.assemble_argument_collection(parse_docstring=True) if a.show]
    options = tuple(_option(argument) for argument in taken)
    placed = [o.names[0] if o.required else f"[{o.names[0]}]" for o in options if _placed(o)]
    placed += [f"{o.names[0]} {_value(o)}" for o in options if o.required and not _placed(o)]
    if not all(option.required or _placed(option) for option in options):
        placed.append("[OPTIONS]")
    text = inspect.cleandoc(app.help or "").partition(_DOCSTRING_PART)[0]
    about = tuple(" ".join(part.split()) for part in text.split("\n\n") if part.strip())
    return Command(name, " ".join((program, name, *placed)), about, options)


def _placed(option: Option) -> bool:
    return not option.names[0].startswith("-")


def _value(option: Option) -> str:
    """What stands for the value of an option in a usage."""
    return (
        option.takes.split()[-1].upper()
        if "," not in option.takes
        else "|".join(option.takes.split(", "))
    )


def _option(argument: Argument) -> Option:
    names = tuple(argument.names)
    if argument.index is not None and names[0].startswith("-"):
        names = (argument.field_info.name.upper().replace("_", "-"), *names)
    choices = ", ".join(str(choice) for choice in argument.get_choices() or ())
    return Option(
        names,
        choices or _kind(argument.hint),
        _shown(argument.field_info.default),
        bool(argument.required),
        " ".join((argument.parameter.help or "").split()),
    )


def _kind(hint: Any) -> str:  # noqa: ANN401 - a type may be written in many ways
    """A kind of value in words; one that has none here is called as in the program."""
    kinds = [one for one in get_args(hint) if one is not type(None)]
    if get_origin(hint) in {list, tuple, set}:
        return f"one or more: {_kind(kinds[0])}"
    if kinds:
        return " or ".join(_kind(one) for one in kinds)
    return _KINDS.get(hint, getattr(hint, "__name__", str(hint)))


def _shown(default: Any) -> str:  # noqa: ANN401 - a default may be anything
    """A default as it would be typed; a switch that is off and nothing at all say nothing."""
    if default in (None, False, "", (), inspect.Parameter.empty):
        return ""
    if default is True:
        return "yes"
    return str(default.value if isinstance(default, Enum) else default)
