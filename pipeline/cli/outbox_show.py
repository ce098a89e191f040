"""The outbox as lines for a person."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from pipeline.mail import Letter, State, outbox_of
from pipeline.mill import Mill
from pipeline.words import clean, moment_words

_WORDS: Final[dict[State, str]] = {
    "waiting": "waiting",
    "handing_over": "being sent, or stopped while sending",
    "sent": "sent",
    "refused": "refused",
    "unsure": "unsure whether it arrived",
}
#: Mail that was sent is shown so far back [letters].
_SENT_SHOWN: Final = 10


def outbox_lines(mill: Mill) -> list[str]:
    """What waits, was refused or is unsure; then the last that were sent."""
    letters = outbox_of(mill).letters()
    if not letters:
        return ["The outbox is empty."]
    sent = [letter for letter in letters if letter.state == "sent"]
    rest = [letter for letter in letters if letter.state != "sent"]
    lines = [f"{mill.name}: {len(rest)} not sent, {len(sent)} sent. Times are {mill.zone}."]
    for letter in [*rest, *sent[-_SENT_SHOWN:]]:
        lines += _lines_of(mill, letter)
    if any(letter.state in {"refused", "unsure"} for letter in rest):
        lines.append("Refused and unsure mail is sent again only when you say so: --again NAME")
    return lines


def _lines_of(mill: Mill, letter: Letter) -> list[str]:
    when = moment_words(datetime.fromisoformat(letter.queued_at), mill.tz)
    tries = "1 try" if letter.tries == 1 else f"{letter.tries} tries"
    head = f"{letter.name[:10]}  {_WORDS[letter.state]}, to {clean(letter.recipient)}, {tries}"
    lines = [head, f"    {clean(letter.subject)}, written {when}"]
    return [*lines, f"    {clean(letter.said, 200)}"] if letter.said else lines
