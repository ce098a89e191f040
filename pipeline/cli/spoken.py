"""The tongue of a command: as asked with ``--language``, or else the mill's."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline import mill as described
from pipeline.base import ConfigError
from pipeline.words import said

if TYPE_CHECKING:
    from pipeline.mill import Mill
    from pipeline.tongue import Tongue

_OPTION = "--language"
#: As a description says it, [reports] language; looked for where it cannot be read as a whole.
_LANGUAGE = re.compile(r'^language\s*=\s*"(?P<language>[A-Za-z_-]{2,8})"', re.MULTILINE)
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
        raise ConfigError(
            said("No language is named."),
            _OPTION,
            said("{option} es (or en, pt, fr)", option=_OPTION),
        )
    units = Units() if mill is None else Units(mill.reports.temperature, mill.reports.mass)
    _now["tongue"] = tongue_of(language, units)


def load_mill(path: Path) -> Mill:
    """Load a mill as one whose readers have the language of this command."""
    try:
        mill = described.load_mill(path)
    except ConfigError:
        _speak_as_written(path)
        raise
    language = _now["asked"] or mill.reports.language
    if language != "en" or mill.reports != type(mill.reports)():
        _speak(language, mill)
    if language == mill.reports.language:
        return mill
    return replace(mill, reports=mill.reports.model_copy(update={"language": language}))


def _speak_as_written(path: Path) -> None:
    """Speak as a description says that has faults: its readers are to mend them."""
    with suppress(OSError, UnicodeDecodeError, ConfigError):
        said_so = None if _now["asked"] else _LANGUAGE.search(path.read_text(encoding="utf-8"))
        if said_so:
            _speak(said_so["language"])


def spoken(text: str) -> str:
    """Say a text in the tongue of this command."""
    tongue: Tongue | None = _now["tongue"]
    return text if tongue is None else str(tongue(text))
