"""The tongue of a command: as asked with ``--language``, or else the mill's."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import mill as described
from pipeline.base import ConfigError

if TYPE_CHECKING:
    from pipeline.mill import Mill
    from pipeline.tongue import Tongue

_OPTION = "--language"
#: What the command that runs was asked for, and the tongue it has found.
_now: dict[str, Any] = {"asked": "", "tongue": None}


def without_language(words: Sequence[str]) -> list[str]:
    """Take ``--language es`` out of what was typed, and keep it for this command.

    Raises
    ------
    ConfigError
        No language follows, or none that has words.
    """
    _now.update(asked="", tongue=None)
    rest: list[str] = []
    waiting = iter(words)
    for word in waiting:
        name, equals, value = word.partition("=")
        if name != _OPTION:
            rest.append(word)
            continue
        language = value if equals else next(waiting, "")
        _speak(language)
        _now["asked"] = language
    return rest


def _speak(language: str, mill: Mill | None = None) -> None:
    from pipeline.tongue import Units, tongue_of  # noqa: PLC0415 - only where words are chosen

    if not language:
        raise ConfigError("No language is named.", _OPTION, f"{_OPTION} es (or en, pt, fr)")
    units = Units() if mill is None else Units(mill.reports.temperature, mill.reports.mass)
    _now["tongue"] = tongue_of(language, units)


def load_mill(path: Path) -> Mill:
    """Load a mill as one whose readers have the language of this command."""
    mill = described.load_mill(path)
    language = _now["asked"] or mill.reports.language
    if language != "en" or mill.reports != type(mill.reports)():
        _speak(language, mill)
    if language == mill.reports.language:
        return mill
    return replace(mill, reports=mill.reports.model_copy(update={"language": language}))


def spoken(text: str) -> str:
    """Say a text in the tongue of this command."""
    tongue: Tongue | None = _now["tongue"]
    return text if tongue is None else str(tongue(text))
