"""History over OPC UA (IEC 62541, part 11): raw values of each tag's node, only ever read."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Coroutine
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from typing import Any, Final

import polars as pl
from asyncua import ua
from asyncua.client.client import Client
from asyncua.common.node import Node
from asyncua.crypto.security_policies import SecurityPolicyBasic256Sha256
from asyncua.ua.uaerrors import UaError, UaStatusCodeError

from pipeline.base import ConfigError, DataError
from pipeline.mill import Mill, OpcUaSource
from pipeline.sources.frames import to_frame
from pipeline.words import figure, said

#: Quality by the two highest bits of a status code (IEC 62541-4, table of status codes).
_SEVERITY: Final = ("good", "uncertain", "bad", "bad")
_MODES: Final = {
    "sign": ua.MessageSecurityMode.Sign,
    "sign_and_encrypt": ua.MessageSecurityMode.SignAndEncrypt,
}
_Row = tuple[datetime | None, str, object, str]

# The library reports to its log what is told to the user here in plain words.
logging.getLogger("asyncua").setLevel(logging.CRITICAL)


def read_history(
    mill: Mill, source: OpcUaSource, start: datetime, end: datetime
) -> tuple[pl.DataFrame, dict[str, str]]:
    """Raw history of the mill's tags in ``[start, end)``.

    Parameters
    ----------
    mill : Mill
    source : OpcUaSource
    start, end : datetime
        Window in UTC; the end is left out.

    Returns
    -------
    frame : polars.DataFrame
        time (UTC), tag, value, quality (``good``, ``uncertain``, ``bad``).
    problems : dict of str to str
        Tags whose history could not be read, and why.

    Raises
    ------
    ConfigError
        No tag of the mill has a node, or a node or certificate cannot be used.
    DataError
        The server cannot be reached, refuses, or reads none of the nodes.
    """
    nodes = _nodes(mill, source)
    try:
        rows, problems = _in_own_loop(_session(mill, source, nodes, start, end))
    except TimeoutError as error:
        what = said("The server did not answer within {n} s.", n=figure(source.timeout_s, "g"))
        raise _unreachable(source, what) from error
    except UaError as error:
        raise _unreachable(source, said("The server refused: {why}.", why=_plain(error))) from error
    except (OSError, ConnectionError) as error:
        raise _unreachable(
            source, said("The server cannot be reached: {why}.", why=_plain(error))
        ) from error
    if problems and len(problems) == len(nodes):
        lines = "\n".join(f"- {tag}: {why}" for tag, why in sorted(problems.items()))
        raise DataError(
            said("The server gave the history of none of the tags."),
            f"{source.label}\n{lines}",
            said("Correct nodes or node_pattern; ask for the right to read history."),
        )
    times, tags, values, qualities = ([row[n] for row in rows] for n in range(4))
    return to_frame(source, times, tags, values, qualities), problems


def _nodes(mill: Mill, source: OpcUaSource) -> dict[str, ua.NodeId]:
    """Node of each tag and lab series that has one."""
    named = {tag: source.nodes[tag] for tag in mill.unit_changes if tag in source.nodes}
    if source.node_pattern is not None:
        others = (tag for tag in mill.unit_changes if tag not in named)
        named |= {tag: source.node_pattern.replace("{tag}", tag) for tag in others}
    nodes = {}
    for tag, text in named.items():
        try:
            nodes[tag] = ua.NodeId.from_string(text)
        except (UaError, ValueError, KeyError) as error:
            raise ConfigError(
                said('"{text}" is no node of OPC UA.', text=text),
                said("{label}, tag {tag}", label=source.label, tag=tag),
                said('Write it as "ns=2;s=NAME" or "ns=2;i=1234".'),
            ) from error
    if not nodes:
        raise ConfigError(
            said("No tag of the description has a node in this source."),
            source.label,
            said('Add node_pattern = "ns=2;s={tag}", or a line for each tag under nodes.'),
        )
    return nodes


def _in_own_loop(work: Coroutine[Any, Any, Any]) -> Any:  # noqa: ANN401
    """Run in a thread of its own: under a scheduler this thread may already run a loop."""
    with ThreadPoolExecutor(max_workers=1) as pool:
        return pool.submit(asyncio.run, work).result()


async def _session(
    mill: Mill, source: OpcUaSource, nodes: dict[str, ua.NodeId], start: datetime, end: datetime
) -> tuple[list[_Row], dict[str, str]]:
    client = Client(source.address(), timeout=source.timeout_s)
    await _secure(mill, source, client)
    rows: list[_Row] = []
    problems: dict[str, str] = {}
    async with client:
        for tag, node in nodes.items():
            try:
                rows += await _history(client.get_node(node), tag, start, end)
            except UaStatusCodeError as error:
                problems[tag] = _plain(error)
    return rows, problems


async def _secure(mill: Mill, source: OpcUaSource, client: Client) -> None:
    """Set who asks, and how messages are protected."""
    if source.user is not None:
        client.set_user(source.user)
        client.set_password(source.password() or "")
    if source.security == "none":
        return
    own, key, server = (
        _file(mill, name)
        for name in (source.certificate, source.private_key, source.server_certificate)
    )
    try:
        await client.set_security(
            SecurityPolicyBasic256Sha256,
            own or "",
            key or "",
            server_certificate=server,
            mode=_MODES[source.security],
        )
    except ValueError as error:
        raise ConfigError(
            said("A certificate or key cannot be used: {why}.", why=_plain(error)),
            source.label,
            said("Give certificates as DER or PEM, and a key without a pass phrase."),
        ) from error


def _file(mill: Mill, name: str | None) -> str | None:
    """Path of a certificate or key, which must be there."""
    if name is None:
        return None
    path = mill.config_path.parent / name
    if not path.is_file():
        cure = said("Correct certificate and private_key; paths are relative to the mill's file.")
        raise ConfigError(said("There is no such certificate or key."), str(path), cure)
    return str(path)


async def _history(node: Node, tag: str, start: datetime, end: datetime) -> list[_Row]:
    """All raw values of one node in the window, page by page.

    The server's own order and pages are trusted for nothing but progress: a page that repeats
    its continuation point would go on for ever.
    """
    details = ua.ReadRawModifiedDetails()
    details.IsReadModified = False
    details.StartTime, details.EndTime = start, end
    details.NumValuesPerNode = 0
    details.ReturnBounds = False
    rows: list[_Row] = []
    continuation: bytes | None = None
    while True:
        page = await node.history_read(details, continuation)
        page.StatusCode.check()
        values = page.HistoryData.DataValues or []
        rows += [row for value in values if (row := _row(value, tag, start, end)) is not None]
        if not page.ContinuationPoint:
            return rows
        if page.ContinuationPoint == continuation:
            raise UaError("the server repeats a page of history without end")
        continuation = page.ContinuationPoint


def _row(value: ua.DataValue, tag: str, start: datetime, end: datetime) -> _Row | None:
    """One reading; None for a value outside the window (its end belongs to the next one)."""
    moment = value.SourceTimestamp or value.ServerTimestamp
    if moment is not None:
        moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
        if not start <= moment < end:
            return None
    status = value.StatusCode.value if value.StatusCode is not None else 0
    content = value.Value.Value if value.Value is not None else None
    return moment, tag, content, _SEVERITY[status >> 30]


def _unreachable(source: OpcUaSource, what: str) -> DataError:
    return DataError(
        what,
        f"{source.label}, {source.url or source.url_env}",
        said(
            "Check that the server runs, its address, its firewall and who may read its history; "
            "then run the same command again."
        ),
    )


def _plain(error: BaseException) -> str:
    """First line of a library's message, without a trailing point."""
    text = str(error).strip() or type(error).__name__
    return text.splitlines()[0].rstrip(".")[:200]
