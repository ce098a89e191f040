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
    """Do the same in the running text of an HTML page; tags, drawings and code stay as they are."""
    done, at = [], 0
    for apart in _APART.finditer(page):
        done += [unparted(page[at : apart.start()]), apart[0]]
        at = apart.end()
    return "".join([*done, unparted(page[at:])])
