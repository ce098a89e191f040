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
from pipeline.words import said

#: Weakest first; the words of libpq for how far a server is to be trusted.
_MODES: Final = ("require", "verify-ca", "verify-full")
_OFF: Final = said('add tls = "off" to this [[source]] if nobody else can listen on the way')


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
        cure = said("Take sslmode out of the address; {off}.", off=_OFF)
        raise ConfigError(
            said("The address of the database asks to do without TLS."), source.label, cure
        )
    if source.tls == "off":
        if asked:
            cure = said('Take one of them out: sslmode of the address, or tls = "off".')
            raise ConfigError(
                said("The address asks for TLS, the description not."), source.label, cure
            )
        return {"sslmode": "disable", "require_auth": "!password"}
    # What the machine or the address asks for beyond the description stays.
    asked_too = {asked, os.environ.get("PGSSLMODE", "")}
    known: dict[str, str] = {}
    if source.authority is not None:
        path = (folder / source.authority).resolve()
        if not path.is_file():
            cure = said(
                "Correct authority; a relative path starts at the folder of the mill's file."
            )
            raise ConfigError(
                said("There is no such file of an authority."), f"{source.label}, {path}", cure
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
        return said(
            "The database server offers no encryption (TLS), so no password was sent to it."
        ), said("Switch TLS on in the server (ssl = on in postgresql.conf), or {off}.", off=_OFF)
    if "cleartext password" in text:
        more = (
            said('switch TLS on and take tls = "off" out')
            if source.tls == "off"
            else said(
                "name the file of the authority that signed the server's certificate as authority"
            )
        )
        return said(
            "The database server asks for the password in clear text, so it was not sent."
        ), said("Let the server ask by scram-sha-256 (pg_hba.conf), or {more}.", more=more)
    why = text.splitlines()[0][:300] if text else ""
    if "certificate" in text.lower():
        return said("The database server's certificate is not trusted: {why}", why=why), said(
            "Name the file of the authority that signed it as authority, and the server in url as "
            "its certificate does. If both are right, somebody else may be answering."
        )
    if "no encryption" in text and source.tls == "off":
        return said("The database server refuses: {why}", why=why), said(
            'It may take encrypted connections alone: take tls = "off" out.'
        )
    return None
