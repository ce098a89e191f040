"""The outbox: mail kept whole on disk until every reader's server has taken it.

One folder a message, made complete beside the outbox and renamed into it: the message as it will
go over the wire, and a small file for each recipient with its state. Each change of state is a
new file, flushed to the disk and renamed over the old one. So a power cut leaves every letter in
exactly one state:

``waiting``
    Not taken yet. It goes with the next flush.
``handing_over``
    Everything but the last line of the message is with the server. From here on the server may
    have taken it, whatever becomes of this process.
``sent``
    The server said that it took it.
``refused``
    The server said that it never will.
``unsure``
    The connection or this process ended between handing over and the server's answer. Nobody on
    this side can know whether the letter arrived (RFC 1047 describes this moment; confirmed). It
    is not sent again unless a person says so.

A letter is named by its content, so that a report queued twice is one letter.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import time
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Final, Literal

from pipeline.base import DataError, flush_folder, private_folder
from pipeline.words import said

State = Literal["waiting", "handing_over", "sent", "refused", "unsure"]
#: How a letter stands, for people.
STATE_WORDS: Final[dict[State, str]] = {
    "waiting": said("waiting"),
    "handing_over": said("being sent, or stopped while sending"),
    "sent": said("sent"),
    "refused": said("refused"),
    "unsure": said("unsure whether it arrived"),
}

_MESSAGE: Final = "message.eml"
_PART: Final = ".part"
#: Nobody takes this long to write a message [s].
_WRITTEN_S: Final = 60.0


@dataclass(frozen=True, slots=True)
class Letter:
    """One message on its way to one recipient.

    Attributes
    ----------
    name : str
        Name of the message, from its content.
    number : int
        Place among the recipients of the message, from 0.
    recipient, subject : str
    state : str
        See the module.
    queued_at : str
        When it was written, UTC, ISO 8601.
    tries : int
        How often a server was asked to take it.
    said : str
        What the server, or the way to it, last said. Untrusted text.
    """

    name: str
    number: int
    recipient: str
    subject: str
    state: State
    queued_at: str
    tries: int = 0
    said: str = ""


@dataclass(frozen=True, slots=True)
class Outbox:
    """The outbox of one mill.

    Parameters
    ----------
    path : Path
        Its folder; made when the first message is put.
    """

    path: Path

    def put(
        self, name: str, message: bytes, recipients: Sequence[str], subject: str, when: datetime
    ) -> bool:
        """Keep a message; one of the same name that is known already stays as it is.

        Returns
        -------
        bool
            Whether the message is new.

        Raises
        ------
        DataError
            The disk does not take it.
        """
        if (self.path / name).exists():
            return False
        part = self.path / f"{name}{_PART}"
        try:
            shutil.rmtree(part, ignore_errors=True)
            private_folder(part)
            _write(part / _MESSAGE, message)
            for number, recipient in enumerate(recipients):
                letter = Letter(name, number, recipient, subject, "waiting", when.isoformat())
                _write(part / _file(letter), _as_json(letter))
            flush_folder(part)
            part.rename(self.path / name)
            flush_folder(self.path)
        except OSError as error:
            shutil.rmtree(part, ignore_errors=True)
            raise _not_kept(self.path, error) from error
        return True

    def letters(self) -> list[Letter]:
        """Every letter, in the order of queueing."""
        if not self.path.is_dir():
            return []
        found = [
            _read(file)
            for folder in self.path.iterdir()
            if folder.is_dir() and folder.suffix != _PART
            for file in folder.glob("*.json")
        ]
        return sorted(found, key=lambda item: (item.queued_at, item.name, item.number))

    def message(self, letter: Letter) -> bytes:
        """Message of a letter that is not sent yet, as it goes over the wire."""
        path = self.path / letter.name / _MESSAGE
        try:
            return path.read_bytes()
        except OSError as error:
            raise DataError(
                said("A message of the outbox cannot be read: {why}.", why=error.strerror),
                str(path),
                said(
                    "Put the file back, or remove its folder and mail the report by hand: "
                    "{subject}.",
                    subject=letter.subject,
                ),
            ) from error

    def change(self, letter: Letter, state: State, said: str = "", tries: int = 0) -> Letter:
        """Keep the new state of a letter, for good before this returns."""
        changed = replace(letter, state=state, said=said or letter.said, tries=letter.tries + tries)
        target = self.path / letter.name / _file(letter)
        part = target.with_suffix(_PART)
        try:
            _write(part, _as_json(changed))
            part.replace(target)
            flush_folder(target.parent)
        except OSError as error:
            raise _not_kept(self.path, error) from error
        return changed

    def tidy(self) -> None:
        """Drop the text of messages that every recipient's server took; who got them is kept.

        What a killed process was writing goes too, once nobody can be writing it any more.
        """
        for part in self.path.glob(f"*{_PART}"):
            with suppress(OSError):
                if time.time() - part.stat().st_mtime > _WRITTEN_S:
                    shutil.rmtree(part)
        open_names = {letter.name for letter in self.letters() if letter.state != "sent"}
        for folder in self.path.iterdir() if self.path.is_dir() else ():
            if folder.is_dir() and folder.name not in open_names and folder.suffix != _PART:
                (folder / _MESSAGE).unlink(missing_ok=True)


def name_of(parts: Sequence[bytes]) -> str:
    """Name a message by its content: the same parts give the same name."""
    digest = hashlib.sha256()
    for part in parts:
        digest.update(len(part).to_bytes(8, "big"))
        digest.update(part)
    return digest.hexdigest()[:32]


def _file(letter: Letter) -> str:
    return f"{letter.number:03d}.json"


def _as_json(letter: Letter) -> bytes:
    return json.dumps(asdict(letter), sort_keys=True).encode()


def _read(path: Path) -> Letter:
    try:
        letter = Letter(**json.loads(path.read_bytes()))
        if (letter.name, _file(letter)) != (path.parent.name, path.name):
            raise ValueError("it names another letter")  # noqa: TRY301
    except (OSError, ValueError, TypeError) as error:
        raise DataError(
            said("A letter of the outbox cannot be read."),
            f"{path}: {error}",
            said("Remove its folder; the reports themselves lie in the folder reports."),
        ) from error
    return letter


def _write(path: Path, content: bytes) -> None:
    """Write a file and wait until the disk has it."""
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _not_kept(path: Path, error: OSError) -> DataError:
    return DataError(
        said("The mail could not be kept in the outbox: {why}.", why=str(error.strerror or error)),
        str(path),
        said("Free space or grant the right to write there, then run the same command again."),
    )
