"""What a PostgreSQL connection must be before a password goes over it, and the words if it is not.

Encryption (TLS) is required unless the description switches it off for that source. A password goes
in the clear only inside TLS, and only to a server whose certificate an authority vouches for: any
other server, an impostor's too, gets a proof that it knows the password (RFC 5802) or nothing. The
words are those of libpq (https://www.postgresql.org/docs/current/libpq-connect.html).
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Final

from sqlalchemy.engine import URL

from pipeline.base import ConfigError
from pipeline.mill import SqlSource

#: Weakest first; the words of libpq for how far a server is to be trusted.
_MODES: Final = ("require", "verify-ca", "verify-full")
_OFF: Final = 'add tls = "off" to this [[source]] if nobody else can listen on the way'


def how_to_connect(source: SqlSource, url: URL, folder: Path) -> dict[str, str]:
    """Parameters of libpq that hold a connection to what the description says of encryption.

    Parameters
    ----------
    source : SqlSource
    url : sqlalchemy.engine.URL
        Its address, perhaps out of the environment.
    folder : Path
        That of the description; a relative path of an authority begins there.

    Raises
    ------
    ConfigError
        The address asks for less encryption than the description, or the authority's file is
        not there.
    """
    asked = str(url.query.get("sslmode", ""))
    if asked and asked not in _MODES:
        cure = f"Take sslmode out of the address; {_OFF}."
        raise ConfigError("The address of the database asks to do without TLS.", source.label, cure)
    if source.tls == "off":
        if asked:
            cure = 'Take one of them out: sslmode of the address, or tls = "off".'
            raise ConfigError("The address asks for TLS, the description not.", source.label, cure)
        return {"sslmode": "disable", "require_auth": "!password"}
    # What the machine or the address asks for beyond the description stays.
    asked_too = {asked, os.environ.get("PGSSLMODE", "")}
    known: dict[str, str] = {}
    if source.authority is not None:
        path = (folder / source.authority).resolve()
        if not path.is_file():
            cure = "Correct authority; a relative path starts at the folder of the mill's file."
            raise ConfigError(
                "There is no such file of an authority.", f"{source.label}, {path}", cure
            )
        known["sslrootcert"] = str(path)
        asked_too.add(_MODES[-1])
    mode = max(("require", *asked_too & set(_MODES)), key=_MODES.index)
    known["sslmode"] = mode
    if mode == "require":
        known["require_auth"] = "!password"
    return known


def said_of_encryption(source: SqlSource, text: str) -> tuple[str, str] | None:
    """What happened and what to do, where a database's complaint is about encryption."""
    if "does not support SSL" in text:
        what = "The database server offers no encryption (TLS), so no password was sent to it."
        return what, f"Switch TLS on in the server (ssl = on in postgresql.conf), or {_OFF}."
    if "cleartext password" in text:
        what = "The database server asks for the password in clear text, so it was not sent."
        more = (
            'switch TLS on and take tls = "off" out'
            if source.tls == "off"
            else "name the file of the authority that signed the server's certificate as authority"
        )
        return what, f"Let the server ask by scram-sha-256 (pg_hba.conf), or {more}."
    if "certificate" in text.lower():
        what = f"The database server's certificate is not trusted: {text.splitlines()[0][:300]}"
        return what, (
            "Name the file of the authority that signed it as authority, and the server in url as "
            "its certificate does. If both are right, somebody else may be answering."
        )
    if "no encryption" in text and source.tls == "off":
        what = f"The database server refuses: {text.splitlines()[0][:300]}"
        return what, 'It may take encrypted connections alone: take tls = "off" out.'
    return None
