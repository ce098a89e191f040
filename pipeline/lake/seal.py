"""The hash that every stored file carries, so that a rotten one is never read as other numbers.

A Parquet file keeps it among the key-values of its footer, a note of JSON as its last member::

    lostpol.seal = sha256:<64 hexadecimal digits>

It is the SHA-256 of all other bytes of the file. So a file and its hash are written in one step
and cannot part, in a folder and in an object store alike; whoever copies a lake copies both; and
workers that write different days share no index. Any other program reads the file as before.

A file from before there were seals is *bare*: it is no worse than it was, and gets its seal when
its day is next written, or by ``lostpol backfill``.
"""

from __future__ import annotations

import hashlib
from typing import Final, Literal

#: What a file's bytes tell: as written, changed since, or written without a seal.
State = Literal["sound", "rotten", "bare"]
KEY: Final = "lostpol.seal"
_HEAD: Final = b"sha256:"
_DIGITS: Final = 64
#: What a seal is before it is known.
BLANK: Final = _HEAD.decode() + "0" * _DIGITS
_KEY: Final = KEY.encode()
#: Behind the seal of a Parquet file stand the order of columns and the name of the writer [bytes].
_TAIL: Final = 8192
#: Between the key and the hash stand their lengths, or marks of JSON [bytes].
_APART: Final = 8


def sealed(content: bytes) -> bytes:
    """Give a finished file its seal.

    Parameters
    ----------
    content : bytes
        With a blank seal (`KEY`, `BLANK`) near its end.

    Raises
    ------
    ValueError
        There is no place for a seal in it.
    """
    at = _digits_at(content)
    if at is None:
        raise ValueError("no place for a seal in this file")
    return b"".join((content[:at], _hash(content, at), content[at + _DIGITS :]))


def sealed_json(content: bytes) -> bytes:
    """Give an object of JSON, without spaces at its end, its seal as a last member."""
    comma = "" if content == b"{}" else ", "
    return sealed(content[:-1] + f'{comma}"{KEY}": "{BLANK}"}}'.encode())


def state_of(content: bytes) -> State:
    """Tell whether the bytes of a file are those that were written."""
    at = _digits_at(content)
    if at is not None:
        return "sound" if content[at : at + _DIGITS] == _hash(content, at) else "rotten"
    tail = content[-_TAIL:]
    # Half a seal: what marks it has changed. Both marks at once do not go by one flipped bit.
    return "rotten" if _KEY in tail or _HEAD in tail else "bare"


def digest_of(content: bytes) -> bytes:
    """Hash that tells this content from others; of a sealed file that is in its seal."""
    at = _digits_at(content)
    if at is None:
        return hashlib.sha256(content).hexdigest().encode()
    return content[at : at + _DIGITS]


def _digits_at(content: bytes) -> int | None:
    """Place of the digits of the last seal, or None."""
    key = content.rfind(_KEY, max(0, len(content) - _TAIL))
    if key < 0:
        return None
    begin = key + len(_KEY)
    head = content.find(_HEAD, begin, begin + _APART + len(_HEAD))
    at = head + len(_HEAD)
    return at if head >= 0 and at + _DIGITS <= len(content) else None


def _hash(content: bytes, at: int) -> bytes:
    """SHA-256 of all but the digits of the seal, in hexadecimal digits."""
    view = memoryview(content)
    digest = hashlib.sha256(view[:at])
    digest.update(view[at + _DIGITS :])
    return digest.hexdigest().encode()
