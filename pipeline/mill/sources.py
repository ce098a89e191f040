"""Sections of a mill's file that name a direct source of readings: OPC UA history or a SQL table.

Secrets never stand in the file: it names environment variables that hold them.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Annotated, Any, Final, Literal
from urllib.parse import parse_qs, urlsplit

from pydantic import Field

from pipeline.base import ConfigError, said
from pipeline.mill.faults import Fault, nearest, quoted, read_section
from pipeline.mill.sections import PlaceName, Section

#: A description may be somebody else's: it gets at no secret of another program.
EnvName = Annotated[str, Field(pattern=r"^LOSTPOL_[A-Za-z0-9_]+$")]
_OF_MAIL: Final = "LOSTPOL_MAIL_"
Text = Annotated[str, Field(min_length=1)]
#: What may stand behind the ? of an address and is secret, and what asks for no encryption (libpq).
_SECRETS: Final = frozenset({"password", "passfile", "sslpassword"})
_WITHOUT_TLS: Final = frozenset({"disable", "allow", "prefer"})
#: Hosts a password may be sent to without encryption: it does not leave the machine.
_OWN_MACHINE: Final = frozenset({"localhost", "127.0.0.1", "::1"})


class DirectSource(Section):
    """What all direct sources have in common.

    Attributes
    ----------
    name : str
        Word for the source in messages and in the ledger.
    url, url_env : str or None
        Address without a password, or the environment variable that holds the address.
    user, password_env : str or None
        Who asks, and the environment variable that holds the password.
    window_h : float
        Hours asked for at a time.
    overlap_h : float
        Hours read again before the last reading known, for what arrives late.
    timeout_s : float
        Longest wait for one answer [s].
    first_day : date or None
        Local day to start from when nothing was read yet; None is the detection's look-back.
    good_words : tuple of str
        Quality words of a sound reading, case ignored.
    """

    name: PlaceName
    url: Text | None = None
    url_env: EnvName | None = None
    user: Text | None = None
    password_env: EnvName | None = None
    window_h: Annotated[float, Field(gt=0.0, le=744.0)] = 24.0
    overlap_h: Annotated[float, Field(ge=0.0, le=744.0)] = 6.0
    timeout_s: Annotated[float, Field(gt=0.0, le=3600.0)] = 30.0
    first_day: date | None = None
    good_words: tuple[str, ...] = ("good", "ok", "1", "true")

    @property
    def label(self) -> str:
        """How messages call it."""
        return f"source {self.name}"

    def address(self) -> str:
        """Address, from the file or the environment.

        Raises
        ------
        ConfigError
            The environment variable is not set.
        """
        return self.url or _environment(self.url_env or "", self.label)

    def password(self) -> str | None:
        """Password from the environment, or None where none is needed.

        Raises
        ------
        ConfigError
            The environment variable is not set.
        """
        return _environment(self.password_env, self.label) if self.password_env else None


class OpcUaSource(DirectSource):
    """History over OPC UA (IEC 62541, part 11), read only.

    Attributes
    ----------
    nodes : dict of str to str
        Node of each tag, such as ``"ns=2;s=MJ.FI101"``.
    node_pattern : str or None
        Node of tags not in `nodes`; ``{tag}`` stands for the tag's name.
    security : {"none", "sign", "sign_and_encrypt"}
        Message security by policy Basic256Sha256; needs `certificate` and `private_key`.
    certificate, private_key : str or None
        Files of the client's certificate and key, relative to the mill's file.
    server_certificate : str or None
        File of the server's certificate; without it the one the server shows is taken.
    """

    kind: Literal["opcua"]
    nodes: dict[str, Text] = Field(default_factory=dict)
    node_pattern: Annotated[str, Field(pattern=r"\{tag\}")] | None = None
    security: Literal["none", "sign", "sign_and_encrypt"] = "none"
    certificate: Text | None = None
    private_key: Text | None = None
    server_certificate: Text | None = None


class SqlSource(DirectSource):
    """A table or view of a SQL database, one reading a row, read only.

    Attributes
    ----------
    table, table_schema : str, str or None
        Table or view, and the schema it stands in.
    time_column, tag_column, value_column, quality_column : str
        Columns; the last one may be absent.
    time_zone : str or None
        Zone of times stored without one; None is the mill's.
    epoch_unit : {"s", "ms"}
        Unit of times stored as numbers since 1970.
    tls : {"required", "off"}
        Whether a PostgreSQL server must encrypt.
    authority : str or None
        File of the authority that must have signed the server's certificate, relative to the
        mill's file; without it the certificate the server shows is taken.
    """

    kind: Literal["sql"]
    table: Text
    table_schema: Text | None = None
    time_column: Text
    tag_column: Text
    value_column: Text
    quality_column: Text | None = None
    time_zone: Text | None = None
    epoch_unit: Literal["s", "ms"] = "s"
    tls: Literal["required", "off"] = "required"
    authority: Text | None = None


Source = OpcUaSource | SqlSource
_KINDS: Final[dict[str, type[OpcUaSource] | type[SqlSource]]] = {
    "opcua": OpcUaSource,
    "sql": SqlSource,
}


def read_sources(raw: object, faults: list[Fault]) -> tuple[Source, ...]:
    """Read ``[[source]]`` sections (or a single ``[source]``), adding faults to `faults`."""
    entries = [raw] if isinstance(raw, Mapping) else raw
    if not isinstance(entries, list):
        faults.append(
            Fault("source", said("is not a list"), said("Write one [[source]] per source"))
        )
        return ()
    found: list[Source] = []
    for number, entry in enumerate(entries, start=1):
        key = f"source.{number}"
        kind = entry.get("kind") if isinstance(entry, Mapping) else None
        model = _KINDS.get(kind) if isinstance(kind, str) else None
        if model is None:
            cure = nearest(str(kind), _KINDS, said("Use {known}", known=quoted(_KINDS)))
            faults.append(
                Fault(f"{key}.kind", said("{kind} is no kind of source", kind=repr(kind)), cure)
            )
            continue
        source = read_section(model, entry, key, faults)
        if source is not None:
            faults.extend(_faults(source, key))
            found.append(source)
    names = [source.name for source in found]
    faults.extend(
        Fault(
            "source",
            said('two sources are called "{name}"', name=name),
            said("Give each its own name"),
        )
        for name in sorted({n for n in names if names.count(n) > 1})
    )
    return tuple(found)


def _faults(source: Source, key: str) -> Iterator[Fault]:
    """What contradicts itself within one source."""
    if (source.url is None) == (source.url_env is None):
        cure = said(
            "Give url, or url_env with the name of an environment variable, and only one of them"
        )
        yield Fault(f"{key}.url", said("there must be exactly one address"), cure)
    parts = _split(source.url or "")
    if parts is None or parts.password is not None:
        cure = said("Take the password out; name an environment variable in password_env")
        yield Fault(f"{key}.url", said("holds a password, or is no address"), cure)
    elif isinstance(source, OpcUaSource):
        yield from _opcua_faults(source, key, parts)
    else:
        yield from _sql_faults(source, key, parts)
    for name in ("url_env", "password_env"):
        if (getattr(source, name) or "").startswith(_OF_MAIL):
            cure = said("Give it a name of its own, such as LOSTPOL_PLANT_PASSWORD")
            yield Fault(f"{key}.{name}", said("is what only the mail server may be told"), cure)


def _opcua_faults(source: OpcUaSource, key: str, parts: Any) -> Iterator[Fault]:  # noqa: ANN401
    if source.url and parts.scheme != "opc.tcp":
        cure = said("Write it as opc.tcp://host:4840")
        yield Fault(f"{key}.url", said("is no OPC UA address"), cure)
    if not source.nodes and source.node_pattern is None:
        cure = said('Add node_pattern = "ns=2;s={tag}", or nodes with one line a tag')
        yield Fault(key, said("does not say which node holds which tag"), cure)
    signed = source.security != "none"
    if signed != bool(source.certificate and source.private_key):
        cure = said("Set security, certificate and private_key together, or none of them")
        yield Fault(f"{key}.security", said("does not fit the certificate"), cure)
    if source.user and not signed and parts.hostname not in _OWN_MACHINE:
        cure = said('Set security = "sign_and_encrypt", or read without a user')
        yield Fault(f"{key}.user", said("the password would cross the network in the clear"), cure)


def _sql_faults(source: SqlSource, key: str, parts: Any) -> Iterator[Fault]:  # noqa: ANN401
    asked = parse_qs(parts.query, keep_blank_values=True)
    if secret := sorted(asked.keys() & _SECRETS):
        cure = said("Take it out; name an environment variable in password_env")
        yield Fault(f"{key}.url", said("holds a {secret}", secret=secret[0]), cure)
    if asked.get("sslmode", ["require"])[-1] in _WITHOUT_TLS:
        cure = said('Take sslmode out; say tls = "off" if nobody else can listen on the way')
        yield Fault(f"{key}.url", said("asks to do without encryption"), cure)
    if source.tls == "off" and source.authority is not None:
        yield Fault(
            f"{key}.authority", said('is for nothing with tls = "off"'), said("Keep one of the two")
        )


def _split(url: str) -> Any:  # noqa: ANN401  (urllib's own result type)
    try:
        return urlsplit(url)
    except ValueError:
        return None


def _environment(name: str, where: str) -> str:
    value = os.environ.get(name)
    if not value:
        raise ConfigError(
            said("The environment variable {name} is not set.", name=name),
            where,
            said(
                "Set {name} for the account that runs lostpol; its value is never shown.", name=name
            ),
        )
    return value
