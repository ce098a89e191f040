"""Cases: delimiters, marks, encodings, packing, headings."""

from __future__ import annotations

import gzip
import io
from datetime import UTC, datetime

import pyarrow as pa
from corpus_tools import (
    FLOW,
    PH,
    TAGS,
    TEMP,
    case,
    expect,
    frame,
    long_text,
    number,
    packed_zip,
    stamp,
    truth,
    wide_text,
)


def dialects():
    """Delimiters, marks, encodings, packing."""
    rows = truth()
    good = expect(rows)
    for word, sep in (("comma", ","), ("semicolon", ";"), ("tab", "\t"), ("bar", "|")):
        case(f"long_{word}.csv", long_text(rows, sep), good | {"plan": {"shape": "long"}})
        case(f"wide_{word}.csv", wide_text(rows, sep), good | {"plan": {"shape": "wide"}})

    def comma(v):
        return number(v, ",")

    case("decimal_comma_long.csv", long_text(rows, ";", value=comma), good)
    case("decimal_comma_wide_tab.txt", wide_text(rows, "\t", value=comma), good)
    quoted = long_text(rows, ",", value=lambda v: f'"{number(v, ",")}"')
    case("decimal_comma_quoted.csv", quoted, good)
    big = [(t, tag, v + 1200 if tag == FLOW else v) for t, tag, v in rows]
    for word, decimal, mark in (
        ("point", ",", "."),
        ("blank", ",", " "),
        ("narrow_blank", ",", "\u202f"),
        ("apostrophe", ".", "'"),
        ("comma", ".", ","),
    ):
        text = long_text(big, ";", value=lambda v, d=decimal, m=mark: number(v, d, m))
        case(f"thousands_{word}.csv", text, expect(big))
    case(
        "thousands_lakh.csv",
        "time;tag;value\n2025-10-14 15:00:00;MJ.FI101;1,23,456.5\n"
        "2025-10-14 15:10:00;MJ.FI101;265.5\n",
        expect(
            [
                (datetime(2025, 10, 14, 20, tzinfo=UTC), FLOW, 123456.5),
                (datetime(2025, 10, 14, 20, 10, tzinfo=UTC), FLOW, 265.5),
            ]
        ),
    )
    only = 'time,tag,value\n2025-10-14 15:00,MJ.FI101,"1,265"\n2025-10-14 15:10,MJ.FI101,"1,270"\n'
    case("thousands_or_decimal_unknown.csv", only, {"error": "can be read as 1.265 or as 1265"})
    at = [datetime(2025, 10, 14, 20, m, tzinfo=UTC) for m in (0, 10)]
    described = {"decimal": ".", "thousands": ","}
    case(
        "thousands_described.csv",
        only,
        expect([(at[0], FLOW, 1265.0), (at[1], FLOW, 1270.0)], layout=described),
    )
    text = long_text(rows, ";", value=comma, head=("Zeit", "Tag", "Wert"))
    umlaut = text.replace("Zeit;Tag;Wert\n", "Zeit;Tag;Wert;Qualität (°)\n")
    case("bom_utf8.csv", b"\xef\xbb\xbf" + umlaut.encode(), good)
    case("utf16_le_bom.csv", umlaut.encode("utf-16"), good)
    case("utf16_be_bom.csv", b"\xfe\xff" + umlaut.encode("utf-16-be"), good)
    case("utf16_le_no_bom.csv", umlaut.encode("utf-16-le"), good)
    case("latin1.csv", umlaut.encode("latin-1"), good)
    case("line_ends_windows.csv", text.replace("\n", "\r\n"), good)
    case("line_ends_old_mac.csv", text.replace("\n", "\r"), good)
    case("separator_line.csv", "sep=;\r\n" + text.replace("\n", "\r\n"), good)
    case("no_last_line_end.csv", text.rstrip("\n"), good)
    case("blank_lines.csv", text.replace("\n", "\n\n;;\n"), good)
    plain = long_text(rows)
    case("packed.csv.gz", gzip.compress(plain.encode(), mtime=0), good)
    zstd = pa.Codec("zstd")
    case("packed.csv.zst", zstd.compress(plain.encode(), asbytes=True), good)
    half = len(rows) // 2
    two = {"a/one.csv": long_text(rows[:half]), "two.csv": long_text(rows[half:], ";")}
    case("packed_two.zip", packed_zip(two | {"__MACOSX/two.csv": "x"}), good)
    buffer = io.BytesIO()
    frame(rows).write_parquet(buffer)
    case("packed_parquet.zip", packed_zip({"a.parquet": buffer.getvalue()}), good)
    case("climbs.zip", packed_zip({"../../one.csv": plain}), {"error": "leads out of its folder"})
    case("absolute.zip", packed_zip({"/etc/one.csv": plain}), {"error": "leads out of its folder"})
    drive = packed_zip({"C:\\one.csv": plain})
    case("drive.zip", drive, {"error": "leads out of its folder"})
    inner = packed_zip({"inner.zip": packed_zip({"one.csv": plain})})
    case("archive_in_archive.zip", inner, {"error": "another archive"})
    case("cut.csv.gz", gzip.compress(plain.encode(), mtime=0)[:90], {"error": "cut short"})


def heads():
    """Titles, headings further down, units under and in the headings, odd columns."""
    rows = truth()
    good = expect(rows)
    units = ("m3/h", "pH", "degC")
    title = "Clarification station;;;\nPeriod;14.10.2025;to;15.10.2025\n\n"
    case("heading_down.csv", title + wide_text(rows, ";"), good)
    case(
        "heading_down_zone.csv",
        "Report of the day\nTime zone: UTC\n\n"
        + long_text(rows, time=lambda t: stamp(t, zone=UTC)),
        good | {"plan": {"time_zone": "UTC"}},
    )
    case("units_row.csv", wide_text(rows, ";", units=units), good)
    hot = [(t, tag, round(v * 1.8 + 32, 3) if tag == TEMP else v) for t, tag, v in rows]
    fahrenheit = wide_text(hot, ";", units=("m3/h", "pH", "°F"))
    told = {"notes": ['the export says "°F"']}
    case("units_row_other_unit.csv", fahrenheit, good | told)
    named = tuple(f"{tag} [{unit}]" for tag, unit in zip(TAGS, units, strict=True))
    case("units_in_headings.csv", wide_text(rows, head=named), good)
    words = wide_text(rows, ";").replace(
        "\n", "\n;Mixed juice;Limed juice;Heated juice\n;m3/h;pH;degC\n", 1
    )
    case("description_and_units_rows.csv", words, good)
    case("time_heading_says_utc.csv", wide_text(rows, first="Time (UTC)",
         time=lambda t: stamp(t, zone=UTC)), good)  # fmt: skip
    counted = "\n".join(
        f"{'' if k == 0 else k},{line}" for k, line in enumerate(wide_text(rows).splitlines())
    )
    case("row_counter.csv", counted, good)
    trailing = wide_text(rows, ";").split("\n")
    text = "\n".join([trailing[0], *(f"{line};" for line in trailing[1:] if line)])
    case("trailing_delimiter.csv", text, good)
    notes = [(t, tag, v) for t, tag, v in rows]
    text = "time,tag,value,note\n" + "".join(
        f'{stamp(t)},{tag},{v},"first line\nsecond line, quoted ""so"""\n' for t, tag, v in notes
    )
    case("quoted_line_breaks.csv", text, good)
    inch = "time,tag,value,note\n" + "".join(
        f'{stamp(t)},{tag},{v},5" pipe\n' for t, tag, v in rows
    )
    case("inch_marks.csv", inch, good)
    lines = long_text(rows).splitlines()
    again = [*lines[:7], lines[0], *lines[7:]]
    case("heading_again.csv", "\n".join(again), expect(rows, {"heading_again": 1}))
    ragged = [*lines[:7], lines[7] + ",1,2", *lines[8:]]
    kept = rows[:6] + rows[7:]
    case("ragged.csv", "\n".join(ragged), expect(kept, {"cells_too_many": 1}))
    twice = wide_text(rows, head=(FLOW, PH, TEMP)).replace(TEMP, FLOW)
    same = [(t, FLOW if tag == TEMP else tag, v) for t, tag, v in rows]
    case("tag_in_two_columns.csv", twice, expect(same))
    foreign = [(t, "XX.99" if tag == TEMP else tag, v) for t, tag, v in rows]
    known = [r for r in foreign if r[1] != "XX.99"]
    case("foreign_tag.csv", long_text(foreign), expect(known, {"tag_not_in_mill": 6}))
    case("no_headings.csv", "\n".join(lines[1:]), {"error": "No column of times"})
    described = {"heading_row": 2, "time_column": "when", "tag_column": "what",
                 "value_column": "how much"}  # fmt: skip
    odd = "any\n" + long_text(rows, head=("when", "what", "how much"))
    case("described_columns.csv", odd, good | {"layout": described})
