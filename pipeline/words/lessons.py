"""What verdicts changed about a finding, from the few English sentences that its evidence keeps."""

from __future__ import annotations

import re
from typing import Final

from pipeline.base import joined, said, stored
from pipeline.words.causes import CAUSES, words_of
from pipeline.words.text import clean
from pipeline.words.wording import verdict_words

#: Longest sentence shown [characters].
_LONGEST: Final = 400
_GIVEN: Final = re.compile(
    r"(confirmed|dismissed|fixed) by (.+?) on (\d{4}-\d\d-\d\d)(: .*)?", re.IGNORECASE
)
_NAMED: Final = re.compile(r"the search had named (\w+)")
_WEIGHED: Final = "after what was found on the floor before, "
_CAUSE: Final = re.compile(rf"\b({'|'.join(CAUSES)})\b")


def lesson_words(text: object) -> str:
    """Say what a verdict was or changed: causes by their names, the note as it was typed.

    Parameters
    ----------
    text : str
        A sentence of ``evidence.verdicts.told``. It may hold untrusted text.
    """
    line = clean(text, _LONGEST)
    if given := _GIVEN.fullmatch(line):
        what, author, day, note = given.groups(default="")
        head = said(
            "{verdict} by {author} on {day}",
            verdict=verdict_words(what.lower()),
            author=author,
            day=day,
        )
        return joined("", (head, note)) if note else head
    if named := _NAMED.fullmatch(line):
        return said("the search had named it “{cause}”", cause=words_of(named[1]).name)
    if line.startswith(_WEIGHED):
        return stored(_CAUSE.sub(lambda found: f"“{words_of(found[1]).name}”", line))
    return stored(line)
