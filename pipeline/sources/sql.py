"""A table of a SQL database: one reading a row, read with bound parameters and nothing else."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote, unquote
from zoneinfo import ZoneInfo

import polars as pl
import sqlalchemy as sa
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, NoSuchTableError, SQLAlchemyError

from pipeline.base import ConfigError, DataError, needing
from pipeline.mill import Mill, SqlSource
from pipeline.sources.encryption import how_to_connect, said_of_encryption
from pipeline.sources.frames import to_frame
from pipeline.words import said

_ROWS: Final = 50_000
_KNOWN: Final = ("sqlite", "postgresql")


def read_table(mill: Mill, source: SqlSource, start: datetime, end: datetime) -> pl.DataFrame:
    """Rows of the mill's tags in ``[start, end)``.

    Times stored as text, or without a zone, are asked for a little more widely: readings that
    are already known merge.

    Parameters
    ----------
    mill : Mill
    source : SqlSource
    start, end : datetime
        Window in UTC; the end is left out.

    Returns
    -------
    polars.DataFrame
        time, tag, value and, where there is such a column, quality.

    Raises
    ------
    ConfigError
        The address, the table or a column cannot be used.
    DataError
        The database cannot be reached or read.
    """
    url = _url(mill, source)
    engine = _engine(mill, source, url)
    try:
        with _explained(source, url), engine.connect() as connection:
            table = _table(source, connection)
            query = _query(mill, source, table, (start, end), connection.dialect.name)
            columns: list[list[Any]] = [[], [], [], []]
            for row in connection.execution_options(yield_per=_ROWS).execute(query):
                for column, value in zip(columns, row, strict=False):
                    column.append(value)
    finally:
        engine.dispose()
    times, tags, values, qualities = columns
    return to_frame(
        source,
        _moments(source, times),
        [str(tag) for tag in tags],
        [float(v) if isinstance(v, Decimal) else v for v in values],
        [None if q is None else str(q) for q in qualities],
    )


def _url(mill: Mill, source: SqlSource) -> URL:
    """Address with its driver, user and password."""
    try:
        url = make_url(source.address())
    except ArgumentError as error:
        cure = said("Write it as sqlite:///file.db or postgresql://host:5432/database.")
        raise ConfigError(
            said("The address of the database cannot be read."), source.label, cure
        ) from error
    kind = url.get_backend_name()
    if kind not in _KNOWN:
        cure = said("Use one of: {known}.", known=", ".join(_KNOWN))
        raise ConfigError(
            said('lostpol does not read "{kind}" databases.', kind=kind), source.label, cure
        )
    if kind == "sqlite":
        path = (mill.config_path.parent / (url.database or "")).resolve()
        # As a URL: a ? or # in the path would end it.
        name = f"file:{quote(path.as_posix())}"
        return URL.create("sqlite", database=name, query={"mode": "ro", "uri": "true"})
    url = url.set(drivername="postgresql+psycopg")
    if source.user is not None:
        url = url.set(username=source.user)
    secret = source.password()
    return url.set(password=secret) if secret is not None else url


def _engine(mill: Mill, source: SqlSource, url: URL) -> sa.Engine:
    """Engine that can only read, and does not wait for ever."""
    if url.get_backend_name() == "sqlite":
        path = Path(unquote(str(url.database).removeprefix("file:")))
        if not path.is_file():
            cure = said("Correct url; a relative path starts at the folder of the mill's file.")
            raise DataError(said("There is no such database."), f"{source.label}, {path}", cure)
        return sa.create_engine(url, connect_args={"timeout": source.timeout_s})
    wait_ms = int(source.timeout_s * 1000)
    safe = how_to_connect(source, url, mill.config_path.parent)
    limits = f"-c statement_timeout={wait_ms} -c default_transaction_read_only=on"
    with needing("sql", source.label):  # the driver comes with the engine
        return sa.create_engine(
            url,
            connect_args={"connect_timeout": max(int(source.timeout_s), 1), "options": limits}
            | safe,
            poolclass=sa.NullPool,
        )


def _table(source: SqlSource, connection: sa.Connection) -> sa.Table:
    """Table as the database describes it, with the columns named in the description."""
    table = sa.Table(
        source.table, sa.MetaData(), schema=source.table_schema, autoload_with=connection
    )
    named = (source.time_column, source.tag_column, source.value_column, source.quality_column)
    absent = [name for name in named if name is not None and name not in table.columns]
    if absent:
        raise ConfigError(
            said("The table has no column {columns}.", columns=", ".join(absent)),
            said(
                "{label}, table {table}; its columns: {columns}",
                label=source.label,
                table=source.table,
                columns=", ".join(table.columns.keys()),
            ),
            said("Correct time_column, tag_column, value_column or quality_column."),
        )
    return table


def _query(
    mill: Mill, source: SqlSource, table: sa.Table, span: tuple[datetime, datetime], dialect: str
) -> sa.Select[Any]:
    """Select the rows of the mill's tags in the window, in order of time."""
    moment: sa.ColumnElement[Any] = table.columns[source.time_column]
    kind = moment.type
    if isinstance(kind, sa.DateTime) and dialect == "sqlite":
        # SQLite keeps times as text, in whatever spelling they were written.
        moment, kind = sa.type_coerce(moment, sa.String()), sa.String()
    low, high = _bounds(mill, source, kind, *span)
    tag = table.columns[source.tag_column]
    chosen = [moment, tag, table.columns[source.value_column]]
    if source.quality_column is not None:
        chosen.append(table.columns[source.quality_column])
    return (
        sa.select(*chosen)
        .where(moment >= low, moment < high, tag.in_(sorted(mill.unit_changes)))
        .order_by(moment, tag)
    )


def _bounds(
    mill: Mill, source: SqlSource, kind: sa.types.TypeEngine[Any], start: datetime, end: datetime
) -> tuple[Any, Any]:
    """Start and end of the window as the time column would write them."""
    if isinstance(kind, sa.DateTime):
        if kind.timezone:
            return start, end
        zone = ZoneInfo(source.time_zone or mill.zone)
        low, high = (moment.astimezone(zone).replace(tzinfo=None) for moment in (start, end))
        # Clocks that go back say an hour twice.
        hour = timedelta(hours=1) if zone.key != "UTC" else timedelta(0)
        return low - hour, high + hour
    if isinstance(kind, sa.Numeric | sa.Integer | sa.Float):
        scale = 1000.0 if source.epoch_unit == "ms" else 1.0
        return start.timestamp() * scale, end.timestamp() * scale
    if isinstance(kind, sa.String):
        # ISO text sorts by day whatever follows the date; offsets reach a day at most.
        day = timedelta(days=1)
        return f"{(start - day):%Y-%m-%d}", f"{(end + 2 * day):%Y-%m-%d}"
    raise ConfigError(
        said("Times of the kind {kind} cannot be read.", kind=kind),
        said("{label}, column {time_column}", label=source.label, time_column=source.time_column),
        said("Make a view whose time column is a timestamp, ISO text or seconds since 1970."),
    )


def _moments(source: SqlSource, times: list[Any]) -> list[Any]:
    """Times as read, with seconds since 1970 turned into moments."""
    scale = 1000.0 if source.epoch_unit == "ms" else 1.0
    return [
        datetime.fromtimestamp(float(t) / scale, UTC) if isinstance(t, int | float | Decimal) else t
        for t in times
    ]


@contextmanager
def _explained(source: SqlSource, url: URL) -> Iterator[None]:
    """Turn whatever a database says into what, where and next, without its secrets."""
    # What stands behind the ? may be a password, too.
    where = f"{source.label}, {url.set(query={}).render_as_string(hide_password=True)}"
    try:
        yield
    except NoSuchTableError as error:
        what = said(
            'There is no table or view "{table}", or it may not be read.', table=source.table
        )
        raise DataError(
            what, where, said("Correct table and table_schema, or ask for the right.")
        ) from error
    except SQLAlchemyError as error:
        whole = str(getattr(error, "orig", None) or error).strip()
        for secret in (url.password, url.query.get("password")):
            whole = whole.replace(str(secret), "***") if secret else whole
        if told := said_of_encryption(source, whole):
            raise DataError(told[0], where, told[1]) from error
        text = whole.splitlines()[0]
        raise DataError(
            said("The database cannot be read: {why}", why=text[:300]),
            where,
            said(
                "Check that it runs, the address, user and password_env; then run the command "
                "again."
            ),
        ) from error
