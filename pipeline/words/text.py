"""Text that came from an export: made harmless to look at before it is escaped.

Escaping for HTML is the template's work (autoescape is on). What escaping cannot do is done
here: control characters, unpaired surrogates and direction overrides would break the file or
make a tag name read as another one, so each becomes the replacement character.
"""

from __future__ import annotations

import unicodedata

from pipeline.base import Said

_REPLACEMENT = "\ufffd"
# Embeddings, overrides, isolates and marks: they can make text read in another order.
_DIRECTION = frozenset("\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
LONGEST = 120
# First characters by which spreadsheets know a formula or a command (common practice).
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def clean(value: object, longest: int = LONGEST) -> str:
    """Make untrusted text printable and bounded.

    Parameters
    ----------
    value : object
        Text, or None for an empty string; anything else is written as text first.
    longest : int
        Longest text kept [characters]; what is cut off is counted in the result.

    Returns
    -------
    str
        Printable text on one line. It is not HTML-escaped.
    """
    if value is None:
        return ""
    text = str(value)
    kept = "".join(_safe(char) for char in text[:longest])
    if len(text) <= longest:
        # Words of ours stay what they are, so that they can be said in another tongue.
        return value if isinstance(value, Said) and kept == text else kept
    return f"{kept}… ({len(text) - longest} more characters)"


def _safe(char: str) -> str:
    if char in "\t\n\r":
        return " "
    if char in _DIRECTION or unicodedata.category(char) in {"Cc", "Cs", "Cn", "Co", "Zl", "Zp"}:
        return _REPLACEMENT
    return char


def is_formula(text: str) -> bool:
    """Tell whether a spreadsheet may take a text for a formula."""
    return text.lstrip(" \u00a0\ufffd").startswith(_FORMULA)
