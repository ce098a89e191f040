"""The ``[[exports.layout]]`` sections of a draft: one for each kind of file."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Sequence
from fnmatch import fnmatchcase
from typing import Final

from pipeline.intake.one_tag import shared_start
from pipeline.intake.remarks import quoted
from pipeline.intake.taken import Taken

#: Order in which keys are written.
_ORDER: Final = (
    "shape", "sheets", "heading_row", "time_column", "date_column", "half_column", "zone_column",
    "tag_column", "tag_columns", "tag", "value_column", "unit_column", "quality_column",
    "time_zone", "time_format", "encoding", "delimiter", "decimal", "thousands",
)  # fmt: skip
_LEAST: Final = 3


def layout_sections(taken: Iterable[Taken]) -> tuple[list[str], dict[str, str]]:
    """Sections for the files that were read, and the name of the layout of each file.

    Returns
    -------
    lines : list of str
    names : dict of str to str
        Name of the layout by file name.
    """
    able = [t for t in taken if t.proposals and t.error is None]
    groups: dict[str, list[Taken]] = {}
    for one in able:
        groups.setdefault(json.dumps(one.keys, sort_keys=True, default=str), []).append(one)
    patterns = _patterns(list(groups.values()))
    lines, names, seen = ["[exports]"] if able else [], dict[str, str](), set[str]()
    for pattern, group in patterns:
        name = _called(group, seen)
        names |= {t.path.name: name for t in group}
        lines += ["", "[[exports.layout]]", f'name = "{name}"', f"match = {quoted(pattern)}"]
        asked = {k for t in group for q in t.questions if not q.given for k in q.key.split()}
        lines += [_line(key, value, asked) for key, value in _ordered(group[0].keys)]
    return lines, names


def _ordered(keys: dict[str, object]) -> list[tuple[str, object]]:
    known = [(key, keys[key]) for key in _ORDER if key in keys]
    return known + [(key, value) for key, value in sorted(keys.items()) if key not in _ORDER]


def _line(key: str, value: object, asked: set[str]) -> str:
    mark = "  # CONFIRM: asked, and taken as the likeliest" if key in asked else ""
    return f"{key} = {_written(value)}{mark}"


def _written(value: object) -> str:
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_written(v) for v in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value) if isinstance(value, int | float) else quoted(str(value))


def _called(group: Sequence[Taken], seen: set[str]) -> str:
    """Name of a layout: the plain beginning of its files' names."""
    start = shared_start([t.path.name for t in group])
    plain = re.sub(r"[^a-z0-9]+", " ", start.casefold().split(".")[0]).strip(" 0123456789")
    name = plain if len(plain) >= _LEAST else "exports"
    number = next(n for n in range(1, 10_000) if (f"{name} {n}" if n > 1 else name) not in seen)
    name = f"{name} {number}" if number > 1 else name
    seen.add(name)
    return name


def _patterns(groups: list[list[Taken]]) -> list[tuple[str, list[Taken]]]:
    """Pattern of each kind of file, the narrow ones first; each file falls to its own."""
    found: list[tuple[str, list[Taken]]] = []
    wide: list[tuple[str, list[Taken]]] = []
    for k, group in enumerate(groups):
        own = [t.path.name for t in group]
        others = [t.path.name for j, g in enumerate(groups) if j != k for t in g]
        pattern = _pattern(own, others)
        if pattern is not None:
            found.append((pattern, group))
        elif (last := _wide(own)) is not None:
            wide.append((last, group))
        else:
            found += [(_escaped(t.path.name), [t]) for t in group]
    if len(wide) > 1:  # only the last pattern may be as wide as that
        for _, group in wide[:-1]:
            found += [(_escaped(t.path.name), [t]) for t in group]
        wide = wide[-1:]
    return found + wide


def _pattern(own: Sequence[str], others: Sequence[str]) -> str | None:
    """What the names of one kind of file share and no other has; None where there is nothing."""
    start = shared_start(own)
    end = shared_start([name[len(start) :][::-1] for name in own])[::-1]
    if len(own) == 1:
        stem, dot, ending = own[0].partition(".")
        start, end = re.sub(r"[\d\s_.\-]+$", "", stem), dot + ending
    start = re.sub(r"\d+$", "", start)
    pattern = f"{_escaped(start)}*{_escaped(end)}"
    fits = len(start) >= _LEAST and all(fnmatchcase(n.casefold(), pattern.casefold()) for n in own)
    if fits and not any(fnmatchcase(n.casefold(), pattern.casefold()) for n in others):
        return pattern
    return _escaped(own[0]) if len(own) == 1 else None


def _wide(own: Sequence[str]) -> str | None:
    endings = {name.partition(".")[2] for name in own}
    return f"*.{_escaped(endings.pop())}" if len(endings) == 1 else None


def _escaped(text: str) -> str:
    return text.replace("[", "[[]").replace("?", "[?]").replace("*", "[*]")
