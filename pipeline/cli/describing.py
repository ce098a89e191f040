"""The command ``describe``: answers typed or asked for, the draft, and the page to confirm on."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Mapping, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from pydantic import ValidationError

from pipeline.base import ConfigError, Progress
from pipeline.cli.terminal import ERR, progress_bar, say
from pipeline.describe import (
    DraftedVessel,
    Money,
    describe_exports,
    draft_summary,
    write_draft,
    write_page,
)
from pipeline.intake import Question, by_number, parsed
from pipeline.mill import ExportLayout, zone_faults
from pipeline.words import said

#: A volume that moves the tonnes by less, if it is wrong by a tenth, is not asked for [%].
_LEAST_PCT: Final = 0.5


@dataclass(frozen=True)
class Given:
    """Answers given on the command line, and whether others may be asked for at a terminal."""

    keys: Mapping[str, str]
    answers: Sequence[str]
    ask: bool
    price: float | None = None
    currency: str | None = None


def describe(
    files: Sequence[Path], out: Path, name: str, zone: str | None, page: Path | None, given: Given
) -> None:
    """Draft a description, write it, and tell what it rests on."""
    for path in (out, page):
        if path is not None and path.exists():
            cure = said("Name another file; lostpol never overwrites a description or its page.")
            raise ConfigError(said("There is such a file already."), str(path), cure)
    keys = _keys(given)
    asks = given.ask and sys.stdin.isatty() and ERR.is_terminal
    if asks:
        zone, given = _asked_first(zone, given)
    # A bar would draw over the questions.
    with nullcontext(_told_in_lines()) if asks else progress_bar() as progress:
        draft = describe_exports(
            files,
            name,
            zone,
            progress,
            given=keys,
            choose=_choose if asks else None,
            measure=_volume if asks else None,
            money=Money(given.price, _currency(given.currency)),
        )
    write_draft(draft, out)
    if page is not None:
        write_page(draft, page)
    for line in draft_summary(draft):
        say(line)
    say(f"Written: {out}")
    if page is not None:
        say(f"Page to confirm it on, in any browser or printed: {page}")
    say("Confirm what is marked CONFIRM, then:")
    names = {file.name for file in draft.files if file.readings}
    told = " ".join(shlex.quote(str(path)) for path in files if path.is_dir() or path.name in names)
    for command in ("check", "pull"):
        say(f"  lostpol {command} {shlex.quote(str(out))} {told}")


def _keys(given: Given) -> dict[str, object]:
    """Keys of layouts as typed, checked as a description would be."""
    keys: dict[str, object] = dict(given.keys)
    for text in given.answers:
        key, equals, value = text.partition("=")
        if not equals or not key.strip():
            cure = said("Write it as KEY=VALUE, for example --answer decimal=,")
            raise ConfigError(said('"{text}" is no answer.', text=text), "--answer", cure)
        keys[key.strip()] = parsed(key.strip(), value.strip())
    try:
        ExportLayout.model_validate({"name": "typed", **keys})
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"]) or "layout"
        cure = said("See the keys of [[exports.layout]] in configs/template.toml.")
        unknown = first["type"] == "extra_forbidden"
        what = said("{key}: {why}.", key=where, why=first["msg"])
        if unknown:
            what = said('"{key}" is no key of a layout.', key=where)
        raise ConfigError(what, said("command line"), cure) from error
    return keys


def _typed(prompt: str) -> str:
    """A line typed at the terminal; nothing where it was closed."""
    try:
        return input(prompt).strip()
    except EOFError:
        return ""


def _asked_first(zone: str | None, given: Given) -> tuple[str | None, Given]:
    """Zone and price at the terminal, where they were not typed; Enter leaves them open."""
    while zone is None:
        typed = _typed("Time zone of the plant, such as America/Sao_Paulo? [left open: UTC] ")
        if not typed:
            break
        faults = list(zone_faults(typed, "zone"))
        for fault in faults:
            ERR.print(f"{fault.problem}. {fault.cure}", markup=False)
        zone = None if faults else typed
    price = given.price
    if price is None:
        try:
            price = float(
                _typed("Worth of a tonne of sucrose? [left open: 500] ").replace(",", ".")
            )
        except ValueError:
            price = None
        price = price if price is not None and price > 0.0 else None
    currency = given.currency
    if currency is None and price is not None:
        currency = _typed("Its currency, three letters? [USD] ") or "USD"
    return zone, replace(given, price=price, currency=currency)


def _told_in_lines() -> Progress:
    """A listener that writes a line for each file."""
    seen: set[str] = set()

    def listen(what: str, done: int, total: int) -> None:
        if what not in seen:
            seen.add(what)
            ERR.print(f"{what} ({done + 1} of {total})", markup=False)

    return listen


def _currency(text: str | None) -> str | None:
    """A currency as typed; a description takes three letters."""
    if text is None or (len(text) == 3 and text.isascii() and text.isalpha()):
        return text.upper() if text else None
    raise ConfigError(
        said('"{text}" is no currency.', text=text),
        "--currency",
        said("Write three letters, as in USD."),
    )


def _volume(vessel: DraftedVessel) -> float | None:
    """Ask for a volume that matters at the terminal; Enter keeps the guess."""
    if vessel.matters_pct < _LEAST_PCT:
        return None
    name = vessel.name.replace("_", " ")
    zone = " (its clear zone: the mud comes on top)" if vessel.kind == "settler" else ""
    ERR.print(f"Volume of juice in the {name}{zone} at full level: {vessel.matters}.", markup=False)
    for _ in range(3):
        typed = _typed(f"m3? [{vessel.volume_m3:.1f}, guessed] ").replace(",", ".")
        if not typed:
            return None
        try:
            volume = float(typed)
        except ValueError:
            volume = 0.0
        if 0.0 < volume < 100_000.0:
            return volume
        ERR.print("Type a volume in cubic metres, or Enter to keep the guess.")
    return None


def _choose(question: Question) -> int:
    """Put a question at the terminal; Enter takes the first answer."""
    ERR.print(by_number(question), markup=False)
    for _ in range(3):
        typed = _typed("Which one? [1] ")
        if not typed:
            return 0
        if typed.isdigit() and 1 <= int(typed) <= len(question.answers):
            return int(typed) - 1
        ERR.print(f"Type a number from 1 to {len(question.answers)}, or Enter for the first.")
    return 0
