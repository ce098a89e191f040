"""A draft as it is told at a terminal, and as a file."""

from __future__ import annotations

from pathlib import Path

from pipeline.base import ConfigError
from pipeline.describe.draft import Draft
from pipeline.intake import remark
from pipeline.words import said


def draft_summary(draft: Draft) -> list[str]:
    """What was read and guessed, for a person at a terminal."""
    lines = [f"{remark(f.name)}: {f.verdict}: {remark(f.words)}" for f in draft.files]
    for guess in draft.guesses:
        point = guess.point
        role = {"second": "second instrument for ", "set_point": "set-point of "}
        if guess.role in role:
            about = f"{role[guess.role]}{remark(guess.of)} ({guess.sure})"
        elif point is not None:
            spot = " ".join(p for p in (point.quantity, point.place, point.port) if p)
            about = f"{spot} ({guess.sure})"
        else:
            about = "left out, no place in the station was found for it"
        lines.append(f"{remark(guess.tag.name)}: {about}")
    for series in draft.lab:
        spot = " ".join(p for p in (series.analyte, series.place, series.port) if p)
        about = (
            f"laboratory {spot}" if series.place else "left out, no analysis or no juice by name"
        )
        lines.append(f"{remark(series.tag.name)}: {about}")
    total = len(draft.guesses) + len(draft.lab)
    open_ones = [q for q in draft.questions if not q.given]
    many = "1 question is" if len(open_ones) == 1 else f"{len(open_ones)} questions are"
    asked = f" {many} open: look for CONFIRM." if open_ones else ""
    return [*lines, f"{draft.placed} of {total} tags and lab series were given a place.{asked}"]


def write_draft(draft: Draft, path: Path) -> None:
    """Write a draft to a new file, as `write_new` does."""
    write_new(draft.text, path, "draft", "lostpol never overwrites a description.")


def write_new(text: str, path: Path, what: str, never: str) -> None:
    """Write a text to a new file.

    Parameters
    ----------
    text : str
    path : Path
    what : str
        What it is called in messages.
    never : str
        Why a file that is there stays.

    Raises
    ------
    ConfigError
        There is such a file already, or it cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError as error:
        cure = said("Name another file; {never}", never=never)
        raise ConfigError(said("There is such a file already."), str(path), cure) from error
    except OSError as error:
        cure = said("Name a file in a folder that exists and may be written to.")
        raise ConfigError(
            said("The {what} cannot be written: {why}.", what=what, why=error.strerror),
            str(path),
            cure,
        ) from error
