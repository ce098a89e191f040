"""Exports of a historian in the forms that plants write them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import polars as pl

from first_hour.spec import Content, TagSpec, Written
from first_hour.tables import Table, numbers, text_file, workbook


@dataclass(frozen=True)
class Style:
    """How texts are written: separator, decimal mark, moments, words of quality, encoding."""

    sep: str = ","
    comma: bool = False
    moment: str = "%Y-%m-%d %H:%M:%S"
    good: str = "Good"
    bad: str = "Bad"
    encoding: str = "utf-8"
    #: Zone of the moments where it is not the plant's: ``UTC``, with the format saying so.
    utc: bool = False
    title: tuple[str, ...] = ()


def truth_of(rows: pl.DataFrame) -> pl.DataFrame:
    """Readings of records: name, ts_utc, value (null where the record is bad)."""
    return rows.select(
        pl.col("tag").alias("name"),
        pl.col("time").alias("ts_utc"),
        pl.when("good").then("value").alias("value"),
    )


def _moments(content: Content, rows: pl.DataFrame, style: Style) -> pl.DataFrame:
    if style.utc:
        return rows.with_columns(local=pl.col("time").dt.replace_time_zone(None))
    return content.local(rows)


def _about(content: Content) -> pl.DataFrame:
    tags = content.spec.tags
    return pl.DataFrame(
        {
            "tag": [t.name for t in tags],
            "unit": [t.unit for t in tags],
            "about": [t.about for t in tags],
        }
    )


def long_rows(content: Content, rows: pl.DataFrame, style: Style) -> pl.DataFrame:
    """Records as texts: moment, date, clock, tag, value, unit, quality, about."""
    local = _moments(content, rows, style).join(_about(content), on="tag", how="left")
    day, _, clock = style.moment.partition(" ")
    local = local.sort("time", maintain_order=True)
    return local.select(
        pl.col("local").dt.strftime(style.moment).alias("moment"),
        pl.col("local").dt.strftime(day).alias("date"),
        pl.col("local").dt.strftime(clock or "%H:%M:%S").alias("clock"),
        "tag",
        numbers("value", style.comma).alias("value"),
        "unit",
        pl.when("good").then(pl.lit(style.good)).otherwise(pl.lit(style.bad)).alias("quality"),
        "about",
    )


def long_text(
    content: Content, path: Path, columns: Sequence[tuple[str, str]], style: Style, parts: int = 1
) -> list[Written]:
    """One reading a row; `columns` are (heading, what it holds), in order; one file a part."""
    written = []
    days = content.spec.days
    for part in range(parts):
        first = content.spec.start + timedelta(days=days * part / parts)
        last = content.spec.start + timedelta(days=days * (part + 1) / parts)
        rows = content.records.filter(pl.col("time").is_between(first, last, closed="left"))
        at = path if parts == 1 else path.with_stem(f"{path.stem}_{part + 1}")
        texts = long_rows(content, rows, style).select(what for _, what in columns)
        above = [[line] for line in style.title] + [[heading for heading, _ in columns]]
        text_file(at, Table(above, texts), style.sep, style.encoding)
        written.append(Written(at, truth_of(rows)))
    return written


def _wide(content: Content, rows: pl.DataFrame) -> pl.DataFrame:
    """One column a tag, nulls where a tag has no record of that moment or a bad one."""
    sound = rows.select("time", "tag", value=pl.when("good").then("value"))
    wide = sound.pivot("tag", index="time", values="value").sort("time")
    return wide.select("time", *(t.name for t in content.spec.tags))


def wide_text(
    content: Content, path: Path, corner: tuple[str, str, str], lines: str, style: Style
) -> list[Written]:
    """One column a tag; `lines` are the heading lines in order: t(ag), d(escription), u(nit)."""
    tags = content.spec.tags
    cells = {"t": [t.name for t in tags], "d": [t.about for t in tags], "u": [t.unit for t in tags]}
    above = [[line] for line in style.title]
    above += [[corner["tdu".index(line)], *cells[line]] for line in lines]
    wide = _moments(content, _wide(content, content.records), style)
    texts = wide.select(
        pl.col("local").dt.strftime(style.moment),
        *(numbers(t.name, style.comma) for t in tags),
    )
    text_file(path, Table(above, texts), style.sep, style.encoding)
    return [Written(path, truth_of(content.records))]


def _file_word(tag: str) -> str:
    return re.sub(r"[^\w.-]", "_", tag)


def file_a_tag(
    content: Content, folder: Path, pattern: str, headings: tuple[str, ...], style: Style
) -> list[Written]:
    """One tag a file, named in the file's name alone; columns moment, value, quality."""
    written = []
    for tag in content.spec.tags:
        rows = content.records.filter(pl.col("tag") == tag.name)
        unit = f" [{tag.unit}]" if tag.unit else ""
        names = [heading.replace("{unit}", unit) for heading in headings]
        path = folder / pattern.replace("{tag}", _file_word(tag.name))
        texts = long_rows(content, rows, style).select("moment", "value", "quality")
        above = [[line] for line in style.title] + [names]
        text_file(path, Table(above, texts[:, : len(names)]), style.sep, style.encoding)
        written.append(Written(path, truth_of(rows)))
    return written


def sheet_a_tag(
    content: Content, path: Path, headings: tuple[str, str, str], words: tuple[str, str]
) -> list[Written]:
    """One sheet a tag: its name, its unit, then moments, values and quality."""
    sheets = {}
    for tag in content.spec.tags:
        rows = content.local(content.records.filter(pl.col("tag") == tag.name))
        cells = rows.select(
            "local", "value", pl.when("good").then(pl.lit(words[0])).otherwise(pl.lit(words[1]))
        )
        time, value, quality = headings
        value = f"{value} ({tag.unit})" if tag.unit else value
        sheets[tag.name] = Table([[time, value, quality]], cells)
    workbook(path, sheets)
    return [Written(path, truth_of(content.records))]


def pairs_text(
    content: Content, path: Path, time_word: str, style: Style, tags: Sequence[TagSpec] = ()
) -> list[Written]:
    """Each tag's own moments beside its values; the unit in a line below the names."""
    columns, names, units = [], [], []
    chosen = tags or content.spec.tags
    for i, tag in enumerate(chosen):
        rows = content.records.filter(pl.col("tag") == tag.name, pl.col("good"))
        local = _moments(content, rows, style)
        columns.append(
            local.select(
                pl.col("local").dt.strftime(style.moment).alias(f"a{i}"),
                numbers("value", style.comma).alias(f"b{i}"),
            )
        )
        names += [time_word, tag.name]
        units += ["", tag.unit]
    side = pl.concat(columns, how="horizontal_extend")
    above = [[line] for line in style.title] + [names, units]
    text_file(path, Table(above, side), style.sep, style.encoding)
    kept = content.records.filter(pl.col("tag").is_in([t.name for t in chosen]), pl.col("good"))
    return [Written(path, truth_of(kept))]


def long_parquet(
    content: Content, path: Path, columns: Sequence[tuple[str, str]], words: tuple[str, str]
) -> list[Written]:
    """Parquet, one reading a row, moments with their zone."""
    rows = content.records.join(_about(content), on="tag", how="left").sort("time")
    quality = pl.when("good").then(pl.lit(words[0])).otherwise(pl.lit(words[1]))
    rows = rows.with_columns(
        moment=pl.col("time"), quality=quality, clock=pl.col("time").dt.timestamp("ms")
    )
    rows.select(pl.col(what).alias(heading) for heading, what in columns).write_parquet(path)
    return [Written(path, truth_of(content.records))]


def wide_parquet(content: Content, path: Path, time_word: str) -> list[Written]:
    """Parquet, one column a tag, moments of the plant's clock without a zone."""
    wide = content.local(_wide(content, content.records))
    wide.select(
        pl.col("local").alias(time_word), *(t.name for t in content.spec.tags)
    ).write_parquet(path)
    return [Written(path, truth_of(content.records))]


def tag_list(
    tags: Sequence[TagSpec], path: Path, headings: tuple[str, ...], title: str = ""
) -> Written:
    """A list of tags: name, description, unit, and what else `headings` ask for (a number)."""
    rows = pl.DataFrame(
        [(t.name, t.about, t.unit, str(i + 1)) for i, t in enumerate(tags)],
        schema=["name", "about", "unit", "number"],
        orient="row",
    )
    above = ([[title]] if title else []) + [list(headings)]
    workbook(path, {"Tags": Table(above, rows[:, : len(headings)])})
    return Written(path, None)
