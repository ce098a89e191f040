"""Foreign text in a description: as a string of TOML, and as a comment."""

from __future__ import annotations


def quoted(text: str) -> str:
    """Foreign text as a TOML string: nothing in it can end the string or the line."""
    plain = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\U{ord(c):08X}" for c in plain) + '"'


def remark(text: str, most: int = 300) -> str:
    """Text fit for a comment: one line of at most so many printable characters."""
    return "".join(c if c.isprintable() else " " for c in text)[:most]
