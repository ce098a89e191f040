"""Keeps a number and its unit on one line, in pages and in plain text.

What is said is put together from many places (templates, catalogues, figures), so the space between
a number and its unit is made one at which no line ends where the page is finished, once for all
languages: so the International System of Units asks for it (SI Brochure, 9th edition, 5.4.3 and
5.4.7: a space between number and unit, before the per cent sign too; memory).
"""

from __future__ import annotations

import re
from typing import Final

_SPACE: Final = "\u00a0"
_BASE: Final = r"(?:[kmµ]?g|[kmµ]?mol|m?L|[kM]?t|[mck]?m[²³]?|mS|min|[hsK]|ppm)"
_UNIT: Final = rf"(?:(?:%|pH|°[CF]|short tons?|{_BASE})(?:/{_BASE})?)(?![\w'’/-])"
#: A space behind a number and before its unit, behind a sign of error, behind pH.
_JOINT: Final = re.compile(
    rf"(?<=\d) (?={_UNIT})|(?<=±) (?=\d)|(?<=\d) (?=±)|(?<=\bpH) (?=[-−]?\d)"
)
_NUMBER: Final = r"[-−]?\d(?:[\d.,\u00a0\u202f]*\d)?"
_WEEKDAY: Final = (
    r"(?:(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun)|(?:lun|mar|mié|jue|vie|sáb|dom|seg|ter|qua|qui|sex|mer|jeu"
    r"|ven|sam|dim)\b\.?)"
)
#: In the narrow columns of a page besides: both ends of an interval in brackets, the day of a date,
#: a count and what it is of; told by the words of every language.
_TOGETHER: Final = re.compile(
    rf"(?<=\(){_NUMBER}(?: \w+)? (?:to|a|à) {_NUMBER}"
    rf"|\b{_WEEKDAY} \d{{1,2}} (?=[^\W\d_]{{3}})"
    r"|(?<![\w.,])\d+ (?:of|de|sur) (?=\d+(?![\w.,]))"
)
#: The hyphen of an offset from UTC, behind which some browsers end a line.
_OFFSET: Final = re.compile(r"\bUTC-(?=\d)")
#: What of a page is no running text, and commands that people copy.
_APART: Final = re.compile(
    r"<(?P<name>script|style|svg|code|pre|textarea)\b.*?</(?P=name)>|<[^>]*>", re.DOTALL
)


def unparted(text: str, space: str = _SPACE) -> str:
    """Put a space at which no line ends between every number and its unit.

    Parameters
    ----------
    text : str
        Plain text in any of the languages.
    space : str
        What stands there instead of a space.
    """
    return _JOINT.sub(space, text)


def unparted_page(page: str) -> str:
    """Do the same and more in the running text of an HTML page, its columns being narrow.

    Tags, drawings and code stay as they are.
    """
    done, at = [], 0
    for apart in _APART.finditer(page):
        done += [_kept_together(page[at : apart.start()]), apart[0]]
        at = apart.end()
    return "".join([*done, _kept_together(page[at:])])


def _kept_together(text: str) -> str:
    whole = _TOGETHER.sub(lambda found: found[0].replace(" ", _SPACE), unparted(text))
    return _OFFSET.sub("UTC\u2011", whole)
