"""The refusal ledger: what became of the rows of an export, and which of them were refused.

Every row is counted. Of the refused ones the first of each reason are also kept, with their
text, so that a person can see what an export holds that lostpol does not understand. They lie in
the lake, one file for each export, under the hash of its content::

    refused/<sha256>.parquet        file, row, reason, text
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import polars as pl

from features.base import Column, Columns, polars_schema
from pipeline.base import DataError, said
from pipeline.lake.intact import whole_bytes
from pipeline.lake.storage import Storage

#: Rows of one export kept for each reason of refusal; all of them are counted.
ROWS_KEPT: Final = 1000
#: Longest text kept of a refused row; exports are foreign text.
TEXT_CHARS: Final = 200
REFUSED_COLUMNS: Final[Columns] = {
    "file": Column.text("Name of the export; untrusted text."),
    "row": Column.count("Row of the file from 1, headings not counted."),
    "reason": Column.text("Why it was refused."),
    "text": Column.text("The row, shortened; untrusted text."),
}
REFUSED_SCHEMA: Final = polars_schema(REFUSED_COLUMNS)
REFUSALS: Final = "refused"
#: Cells of a row joined into its text; a row of thousands of columns is cut long before.
_CELLS: Final = 50
_SHA256: Final = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class RefusedRow:
    """One refused row: its number in the file from 1 (headings not counted), why, and its text."""

    row: int
    reason: str
    text: str


@dataclass(slots=True)
class Tally:
    """What became of the rows of one file so far.

    Attributes
    ----------
    rows : int
        Readings offered: rows of a long file, cells of a wide one.
    refused : Counter
        Rows refused, by reason.
    bad : Counter
        Readings kept but bad on arrival, by reason; words of the export under one heading.
    unreadable : int
        Rows refused, or values kept bad, because their text makes no sense.
    unknown_tags, known_tags : set of str
        Tags met that the mill does not have, and those it has.
    refused_rows : list of RefusedRow
        The first rows refused for each reason, with their text.
    notes : list of str
        What the export shows as a whole and a person should know.
    """

    rows: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    bad: Counter[str] = field(default_factory=Counter)
    unreadable: int = 0
    unknown_tags: set[str] = field(default_factory=set)
    known_tags: set[str] = field(default_factory=set)
    refused_rows: list[RefusedRow] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    _of_batch: list[tuple[str, int]] = field(default_factory=list)
    _remembered: Counter[str] = field(default_factory=Counter)
    _rows_before: int = 0

    def refuse(
        self, reason: str, rows: pl.Series, *, weight: int = 1, unreadable: bool = False
    ) -> None:
        """Count refused rows and remember the first of them.

        Parameters
        ----------
        reason : str
        rows : polars.Series
            Their places in the batch, from 0.
        weight : int
            Readings each of these rows stands for.
        unreadable : bool
            Their text makes no sense (it counts against the export).
        """
        self.refused[reason] += len(rows) * weight
        self.unreadable += len(rows) * weight if unreadable else 0
        first = rows.head(ROWS_KEPT - self._remembered[reason]).to_list()
        self._of_batch += [(reason, row) for row in first]
        self._remembered[reason] += len(first)

    def has_enough(self, reason: str) -> bool:
        """Tell that no further row refused for this reason would be remembered."""
        return self._remembered[reason] >= ROWS_KEPT

    def pass_over(self, rows: int) -> None:
        """Number the rows after these on, of which none is to be remembered."""
        self._rows_before += rows

    def refuse_lines(self, reason: str, texts: Sequence[str], weight: int) -> None:
        """Count rows that stand before all others, and remember the first of them.

        Parameters
        ----------
        reason : str
        texts : sequence of str
            Their cells in one line.
        weight : int
            Readings each of them stands for.
        """
        self.rows += len(texts) * weight
        self.refused[reason] += len(texts) * weight
        for number, text in enumerate(texts, start=self._rows_before + 1):
            if self.has_enough(reason):
                break
            plain = "".join(c if c.isprintable() else " " for c in text[:TEXT_CHARS])
            self.refused_rows.append(RefusedRow(number, reason, plain))
            self._remembered[reason] += 1
        self._rows_before += len(texts)

    def end_batch(self, raw: pl.DataFrame) -> None:
        """Keep the text of the rows remembered since the last batch; `raw` is theirs."""
        if self._of_batch:
            texts = raw[[row for _, row in self._of_batch]].select(_as_text(raw))["text"]
            self.refused_rows += [
                RefusedRow(self._rows_before + row + 1, reason, text)
                for (reason, row), text in zip(self._of_batch, texts, strict=True)
            ]
            self._of_batch.clear()
        self._rows_before += raw.height


def _as_text(raw: pl.DataFrame) -> pl.Expr:
    """Cells of each row in one line, without control characters."""
    kinds = raw.schema.items()
    plain = [name for name, kind in kinds if not kind.is_nested() and kind != pl.Binary]
    cells = [pl.col(name).cast(pl.String).fill_null("") for name in plain[:_CELLS]]
    line = pl.concat_str(cells, separator=" | ").str.replace_all(r"\p{C}", " ")
    return line.str.slice(0, TEXT_CHARS).alias("text")


def refused_frame(file: str, rows: Sequence[RefusedRow]) -> pl.DataFrame:
    """Refused rows of one export as they are kept, in the order of the file."""
    found = [(file, r.row, r.reason, r.text) for r in rows]
    return pl.DataFrame(found, schema=REFUSED_SCHEMA, orient="row").sort("row", "reason")


def refused_name(sha256: str) -> str:
    """Name in the lake of the refused rows of one export.

    Raises
    ------
    ValueError
        Not a hash; it would become part of a path.
    """
    if not _SHA256.fullmatch(sha256):
        raise ValueError(f"not a hash: {sha256!r}")
    return f"{REFUSALS}/{sha256}.parquet"


def read_refused(lake: Storage, reason: str | None = None, file: str | None = None) -> pl.DataFrame:
    """Refused rows kept so far, by file and row.

    Parameters
    ----------
    lake : Place
        Where the lake lies.
    reason, file : str, optional
        Only rows refused for this reason; only rows of the export with this name.

    Returns
    -------
    polars.DataFrame
        Columns of `REFUSED_COLUMNS`.

    Raises
    ------
    DataError
        A kept file is damaged.
    """
    frames = [REFUSED_SCHEMA.to_frame()]
    for name in lake.find(f"{REFUSALS}/*.parquet"):
        try:
            frame = pl.read_parquet(whole_bytes(lake, name))
        except (OSError, DataError, pl.exceptions.PolarsError) as error:
            raise _damaged(lake.where(name)) from error
        if frame.schema != REFUSED_SCHEMA:
            raise _damaged(lake.where(name))
        frames.append(frame)
    rows = pl.concat(frames).sort("file", "row", "reason")
    for name, word in (("reason", reason), ("file", file)):
        if word is not None:
            rows = rows.filter(pl.col(name) == word)
    return rows


def _damaged(where: str) -> DataError:
    return DataError(
        said("A list of refused rows cannot be read."),
        where,
        said(
            "Run lostpol backfill: it sets that file aside and makes it anew from its export, or "
            "names the export to pull again."
        ),
    )
