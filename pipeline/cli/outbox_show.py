"""The outbox as lines for a person."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from pipeline.mail import STATE_WORDS, Letter, outbox_of
from pipeline.mill import Mill
from pipeline.words import clean, counted, moment_words, said

#: Mail that was sent is shown so far back [letters].
_SENT_SHOWN: Final = 10


def outbox_lines(mill: Mill) -> list[str]:
    """What waits, was refused or is unsure; then the last that were sent."""
    letters = outbox_of(mill).letters()
    if not letters:
        return [said("The outbox is empty.")]
    sent = [letter for letter in letters if letter.state == "sent"]
    rest = [letter for letter in letters if letter.state != "sent"]
    lines = [
        said(
            "{mill}: {rest} not sent, {sent} sent. Times are {zone}.",
            mill=mill.name,
            rest=len(rest),
            sent=len(sent),
            zone=mill.zone,
        )
    ]
    for letter in [*rest, *sent[-_SENT_SHOWN:]]:
        lines += _lines_of(mill, letter)
    if any(letter.state in {"refused", "unsure"} for letter in rest):
        lines.append(
            said("Refused and unsure mail is sent again only when you say so: --again NAME")
        )
    return lines


def _lines_of(mill: Mill, letter: Letter) -> list[str]:
    when = moment_words(datetime.fromisoformat(letter.queued_at), mill.tz)
    head = counted(
        letter.tries,
        "{name}  {state}, to {recipient}, {n} try",
        "{name}  {state}, to {recipient}, {n} tries",
        name=letter.name[:10],
        state=STATE_WORDS[letter.state],
        recipient=clean(letter.recipient),
    )
    subject = said("    {subject}, written {when}", subject=clean(letter.subject), when=when)
    lines = [head, subject]
    return [*lines, f"    {clean(letter.said, 200)}"] if letter.said else lines
