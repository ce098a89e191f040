"""Sections and keys of a mill's description, from the template that explains them all."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

_HEAD: Final = re.compile(r"(# ?)?(\[{1,2}[a-z_.]+(?:\.\"[^\"]*\")?\]{1,2})\s*(?:#\s*(.*))?")
_KEY: Final = re.compile(r"(# ?)?([a-z][a-z0-9_]*) = (\S.*)")
_MORE: Final = re.compile(r"#\s+#\s?(.*)")
#: Blanks before a line of a list.
_LISTED: Final = 4
_NAMED: Final = re.compile(r"\"[^\"]*\"")


@dataclass(slots=True)
class Key:
    """One key: what it is called, an example of its value, what it means.

    Attributes
    ----------
    name, example, meaning : str
    optional : bool
        It may be left out; the example is what is taken then, unless the meaning says otherwise.
    """

    name: str
    example: str
    meaning: str
    optional: bool


@dataclass(slots=True)
class Section:
    """One section of the description; `about` keeps its lines, since some are lists."""

    title: str
    about: str
    keys: dict[str, Key] = field(default_factory=dict)


@dataclass(slots=True)
class _Reading:
    """What has been read so far of a template."""

    sections: dict[str, Section] = field(default_factory=dict)
    prose: list[str] = field(default_factory=list)
    now: Section | None = None
    key: Key | None = None


def sections_of(text: str) -> tuple[str, tuple[Section, ...]]:
    """What a template explains.

    Sections that the template shows more than once (vessels, tags) are told once, with all keys.

    Parameters
    ----------
    text : str
        A description with comments, as ``configs/template.toml``.

    Returns
    -------
    tuple of str and tuple of Section
        What stands before the first section, and the sections in order.
    """
    so_far = _Reading()
    before = ""
    for line in text.splitlines():
        if (head := _HEAD.fullmatch(line)) is not None:
            before = before or ("" if so_far.sections else _flowing(so_far.prose))
            _open(so_far, head)
        elif (more := _MORE.fullmatch(line)) is not None and so_far.key is not None:
            so_far.key.meaning = f"{so_far.key.meaning} {more[1].strip()}".strip()
        elif (match := _KEY.fullmatch(line)) is not None and so_far.now is not None:
            _add(so_far, so_far.now, match)
        elif line.startswith("#"):
            so_far.prose.append(line[1:].removeprefix(" "))
            so_far.key = None
        else:
            so_far.prose.append("")
            so_far.key = None
    return before, tuple(so_far.sections.values())


def _flowing(lines: Iterable[str]) -> str:
    """Comments as paragraphs: lines go on, but an indented one is one of a list and stands alone.

    What a list's line has no room for goes on far to the right, and belongs to it.
    """
    told: list[str] = []
    fresh = True
    for line in lines:
        text = line.strip()
        indent = len(line) - len(line.lstrip())
        goes_on = indent > _LISTED or (not indent and bool(told) and not told[-1].startswith(" "))
        if text and told and not fresh and goes_on:
            told[-1] += f" {text}"
        elif text:
            told.append(("  " if indent else "") + text)
        elif told and not fresh:
            told.append("")
        fresh = not text
    return "\n".join(told).strip("\n")


def _open(so_far: _Reading, head: re.Match[str]) -> None:
    title = _NAMED.sub('"NAME"', head[2])
    prose = "" if not so_far.sections else _flowing(so_far.prose)
    about = "\n".join(part for part in (prose, head[3] or "") if part)
    known = so_far.sections.setdefault(title, Section(title, about))
    if known.about != about and about:
        known.about = "\n".join(part for part in (known.about, about) if part)
    so_far.now, so_far.key, so_far.prose = known, None, []


def _add(so_far: _Reading, section: Section, match: re.Match[str]) -> None:
    example, meaning = _parted(match[3])
    key = Key(match[2], example, meaning, optional=bool(match[1]))
    known = section.keys.setdefault(key.name, key)
    if not known.meaning:
        known.meaning = meaning
    # A key shown a second time has its words already; what goes on behind it is its own.
    so_far.key = known if known is key or known.meaning == meaning else key


def _parted(rest: str) -> tuple[str, str]:
    """A value and the comment behind it; a # within quotes belongs to the value."""
    quoted = False
    for at, letter in enumerate(rest):
        if letter == '"':
            quoted = not quoted
        elif letter == "#" and not quoted:
            return rest[:at].rstrip(), rest[at + 1 :].strip()
    return rest.rstrip(), ""
