"""How kinds of export file are laid out: the ``[[exports.layout]]`` of a mill's TOML file."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, StringConstraints, field_validator, model_validator

from pipeline.base import said
from pipeline.mill.sections import Finite, Percent, Section


class ExportLayout(Section):
    """How one kind of export file is laid out. Whatever is absent is guessed from the file.

    Attributes
    ----------
    name : str
        What the layout is called in messages.
    match : str
        Pattern of the file names it applies to, such as ``lab*.csv``; case is ignored.
    shape : {"long", "wide", "pairs"} or None
        One reading a row, one column a tag, or a column of times beside each tag's own; None
        lets lostpol find out.
    sheets : tuple of str
        Patterns of the sheets of a workbook, or entries of an archive, to read; none reads all.
    heading_row : int or None
        Line of the headings, counted from 1; None lets lostpol look for it.
    time_column, tag_column, value_column, quality_column : str or None
        Column names; None lets lostpol look for a usual one.
    date_column, unit_column : str or None
        Where the date stands apart from the time of day, and where units stand in rows.
    half_column, zone_column : str or None
        Where AM and PM, and the zone of each row, stand in columns of their own.
    tag : str or None
        The tag of all readings of a file that names none in its rows or headings.
    tag_columns : tuple of str
        Columns whose cells, joined by blanks, name the series of a row; in a wide file they are
        put before the heading. ``{sheet}`` and ``{file}`` are the names of sheet and file.
    repeats : {"ask", "best"}
        What becomes of two good values of one series at one moment: a question, or the one with
        more digits, then the larger.
    short_rows : {"refuse", "empty"}
        Rows with fewer cells than headings: refused, or without a reading in what is missing.
    unnamed_columns : {"ask", "ignore"}
        Columns of numbers without a heading: a question, or left out.
    time_zone : str or None
        Zone of times written without one, by its IANA name or as a fixed offset such as
        ``-03:00``; None is the mill's zone.
    time_format : str or None
        strptime format of times written as text, or ``epoch_s``, ``epoch_ms``, ``epoch_us``,
        ``epoch_ns``, ``serial`` (days of a spreadsheet); None lets lostpol find out.
    delimiter, decimal : str
        For text files; ``delimiter`` None lets lostpol look at the first lines.
    thousands : str or None
        Mark that parts thousands; None takes one only where a number shows both marks.
    encoding : str
        Text encoding of text files.
    good_words, uncertain_words : tuple of str
        Quality words of a sound and of a doubtful reading, case ignored; every other word makes
        it bad. Doubtful readings are marked bad too, with a reason of their own.
    bad_words : tuple of str
        Quality words of a bad reading; with them, a word in none of the three lists is asked
        about.
    quality_columns : tuple of str
        Columns of quality in a wide table, with ``{tag}`` for the tag: ``{tag}.quality``.
    ignore_columns : tuple of str
        Columns that hold no readings and say nothing of quality or unit, whatever they hold.
    units : mapping of str to str
        Unit of a tag, whatever the export says; or what a unit as written in the export means.
    fillers : tuple of float or None
        Numbers that stand for "no reading"; None finds them on evidence.
    harmless_marks : tuple of str
        Marks behind a number, such as ``*``, that leave the reading sound.
    no_result_words : tuple of str
        Values that stand for "no result".
    """

    name: Annotated[str, Field(min_length=1)]
    match: Annotated[str, Field(min_length=1)] = "*"
    shape: Literal["long", "wide", "pairs"] | None = None
    sheets: tuple[str, ...] = ()
    heading_row: Annotated[int, Field(ge=1, le=100)] | None = None
    time_column: str | None = None
    date_column: str | None = None
    tag_column: str | None = None
    value_column: str | None = None
    quality_column: str | None = None
    unit_column: str | None = None
    half_column: str | None = None
    zone_column: str | None = None
    tag: Annotated[str, Field(min_length=1)] | None = None
    tag_columns: tuple[str, ...] = ()
    repeats: Literal["ask", "best"] = "ask"
    short_rows: Literal["refuse", "empty"] = "refuse"
    unnamed_columns: Literal["ask", "ignore"] = "ask"
    time_zone: str | None = None
    time_format: str | None = None
    # A tab is a delimiter: blanks around it are not to be stripped away.
    delimiter: (
        Annotated[str, StringConstraints(strip_whitespace=False, min_length=1, max_length=1)] | None
    ) = None
    decimal: Literal[".", ","] = "."
    thousands: Literal[",", ".", " ", "'"] | None = None
    encoding: Literal["utf-8", "utf-16", "latin-1", "cp1252"] = "utf-8"
    good_words: tuple[str, ...] = ("good", "ok", "1", "true")
    uncertain_words: tuple[str, ...] = ("uncertain", "doubtful", "questionable", "stale", "held")
    bad_words: tuple[str, ...] = ()
    quality_columns: tuple[str, ...] = ()
    ignore_columns: tuple[str, ...] = ()
    units: dict[str, str] = Field(default_factory=dict)
    fillers: tuple[Finite, ...] | None = None
    harmless_marks: tuple[str, ...] = ()
    no_result_words: tuple[str, ...] = ("", "-", "n.d.", "nd", "n/a", "na", "null", "nan")

    @field_validator("quality_columns", mode="before")
    @classmethod
    def _one_pattern(cls, value: object) -> object:
        return (value,) if isinstance(value, str) else value

    @model_validator(mode="after")
    def _delimiter_is_not_decimal(self) -> ExportLayout:
        if self.delimiter is not None and (not self.delimiter.isascii() or self.delimiter in '"\n'):
            raise ValueError(said("{mark} cannot be a delimiter", mark=repr(self.delimiter)))
        if self.delimiter is not None and self.delimiter == self.decimal:
            raise ValueError(said("delimiter and decimal are both {mark}", mark=repr(self.decimal)))
        if "decimal" in self.model_fields_set and self.thousands == self.decimal:
            raise ValueError(said("thousands and decimal are both {mark}", mark=repr(self.decimal)))
        return self


class Exports(Section):
    """Layouts in order: the first whose ``match`` fits a file name is used.

    ``most_refused_pct`` is the share of unreadable rows above which a file is refused whole.
    """

    layout: tuple[ExportLayout, ...] = ()
    most_refused_pct: Percent = 20.0
