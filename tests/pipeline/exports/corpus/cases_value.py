"""Cases: units, words, limits, marks, quality, fillers, still values, workbooks."""

from __future__ import annotations

from datetime import datetime, timedelta

from corpus_tools import (
    CHICAGO,
    FLOW,
    PH,
    RS,
    START,
    TEMP,
    case,
    expect,
    long_text,
    packed_zip,
    stamp,
    truth,
    wide_text,
    workbook,
)


def values():
    """Units in rows, words, limits, marks, quality, fillers, still values."""
    rows = truth()
    at = [START + timedelta(minutes=10 * k) for k in range(20)]

    def lab(pairs):
        return "time;tag;value\n" + "".join(
            f"{stamp(t)};LAB CJ rs;{word}\n" for t, word in zip(at, pairs, strict=False)
        )

    words = ("0,61", "n.d.", "<0,05", "> 9,5", "1,2 *", "broken flask", "", "0,63", "0,7 %", "~0,6",
             "≤ 0,05", "−0,5", "NaN")  # fmt: skip
    read = [(0.61,), (None, "n.d."), (0.05, "below_detection"), (9.5, "above_detection"),
            (1.2, "1,2 *"), (None, "broken flask"), (None, "no_value"), (0.63,), (0.7,),
            (0.6, "~0,6"), (0.05, "below_detection"), (-0.5,), (None, "NaN")]  # fmt: skip
    expected = expect([(t, RS, *r) for t, r in zip(at, read, strict=False)])
    case("words_of_the_laboratory.csv", lab(words), expected)
    starred = expect([(at[0], RS, 1.2), (at[1], RS, 0.6)], layout={"harmless_marks": ["*"]})
    case("marks_described.csv", lab(("1.2 *", "0.6")), starred)
    mixed = [(at[0], RS, 0.61), (at[1], RS, 0.62), (at[2], RS, None, "0.63")]
    case("point_in_a_comma_file.csv", lab(("0,61", "0,62", "0.63")), expect(mixed))
    sci = [(at[0], RS, 0.0061), (at[1], RS, 120.0)]
    case("exponents.csv", lab(("6.1e-3", "1.2E+02")), expect(sci))

    def with_units(unit_of, convert):
        return "time,tag,value,unit\n" + "".join(
            f"{stamp(t)},{tag},{convert(t, tag, v)!r},{unit_of(t, tag)}\n" for t, tag, v in rows
        )

    names = {FLOW: "m3/h", PH: "pH", TEMP: "degC"}
    case("unit_column.csv", with_units(lambda t, g: names[g], lambda t, g, v: v), expect(rows))
    half = at[3]

    def unit(t, tag):
        return "degF" if tag == TEMP and t >= half else names[tag]

    def shift(t, tag, v):
        return round(v * 1.8 + 32, 6) if unit(t, tag) == "degF" else v

    told = ["SH.TI221: the unit changes: degC from", "degF from 2025-10-14 20:20"]
    case("unit_changes_halfway.csv", with_units(unit, shift), expect(rows, notes=told))
    odd = with_units(lambda t, g: "kPa" if g == PH else names[g], lambda t, g, v: v)
    case("unit_of_another_quantity.csv", odd, {"error": "as the export says"})
    hours = truth(40, timedelta(minutes=15))
    moved = [(t, g, round(v * 1.8 + 32, 3) if g == TEMP and t >= START + timedelta(hours=5) else v)
             for t, g, v in hours]  # fmt: skip
    told = ["SH.TI221: readings go from", "degC to degF"]
    case("unit_changes_unsaid.csv", long_text(moved), expect(moved, notes=told))


def judgements():
    """Quality, fillers, still values, empty cells."""
    rows = truth()

    def with_quality(words):
        return "time,tag,value,quality\n" + "".join(
            f"{stamp(t)},{tag},{v},{words[k % len(words)]}\n" for k, (t, tag, v) in enumerate(rows)
        )

    def judged(reasons):
        return [(*r, reasons[k % len(reasons)]) for k, r in enumerate(rows)]

    uncertain, bad = "uncertain_quality", "bad_quality"
    for name, words, reasons in (
        ("words", ("Good", "bad", "Uncertain"), (None, bad, uncertain)),
        ("status", ("0", "2147483648", "1073741824"), (None, bad, uncertain)),
        ("status_hex", ("0x00000000", "0x80340000", "0x408F0000"), (None, bad, uncertain)),
        ("status_signed", ("0", "-2147483648", "1083113472"), (None, bad, uncertain)),
        ("status_names", ("GoodClamped", "BadNoCommunication", "UncertainLastUsableValue"),
         (None, bad, uncertain)),
        ("empty", ("good", "", "good"), (None, bad, None)),
    ):  # fmt: skip
        case(f"quality_{name}.csv", with_quality(words), expect(judged(reasons)))
    # Which of 0 and 1 is good, and whether nought alone is, no such column shows.
    for name, words in (("flags", ("1", "0", "1")), ("all_zero", ("0",))):
        case(f"quality_{name}.csv", with_quality(words), {"error": "can be good or bad"})
    flags = {"quality_column": "quality", "good_words": ["1"]}
    case("quality_flags_described.csv", with_quality(("1", "0", "1")),
         expect(judged((None, bad, None)), layout=flags))  # fmt: skip
    described = {"good_words": ["gut"], "uncertain_words": ["fraglich"]}
    told = expect(judged((None, uncertain, bad)), layout=described)
    case("quality_described.csv", with_quality(("gut", "fraglich", "schlecht")), told)

    run = truth(20)
    filled = [
        (t, g, 9999.0 if g == FLOW and k % 5 == 0 else (-1.0 if g == TEMP and k % 4 == 2 else v))
        for k, (t, g, v) in enumerate(run)
    ]
    read = [
        (t, g, None, f"filler {v:g}") if v in (9999.0, -1.0) else (t, g, v) for t, g, v in filled
    ]
    told = ["MJ.FI101: 9999 stands for no reading", "SH.TI221: -1 stands for no reading"]
    case("fillers.csv", long_text(filled), expect(read, notes=told))
    case("fillers_wide.csv", wide_text(filled), expect(read, notes=told))
    once = [(t, g, 9999.0 if k == 0 else v) for k, (t, g, v) in enumerate(run)]
    case("no_filler_once.csv", long_text(once), expect(once))
    idle = [(t, g, 0.0 if g == FLOW and k > 30 else v) for k, (t, g, v) in enumerate(run)]
    case("no_filler_idle.csv", long_text(idle), expect(idle, silent=["stands for no reading"]))
    chosen = [(t, g, -5.0 if k == 0 else v) for k, (t, g, v) in enumerate(run)]
    read = [(chosen[0][0], FLOW, None, "filler -5"), *chosen[1:]]
    case("fillers_described.csv", long_text(chosen), expect(read, layout={"fillers": [-5.0]}))
    still = [(t, g, 7.1 if g == PH else v) for t, g, v in truth(60, timedelta(minutes=1))]
    told = ["LT.AI212: all 60 readings are 7.1 while other tags move"]
    case("still_tag.csv", long_text(still), expect(still, notes=told))
    gaps = wide_text([r for k, r in enumerate(rows) if k != 4])
    kept = [r for k, r in enumerate(rows) if k != 4]
    case("empty_cells.csv", gaps, expect(kept, {"empty_cell": 1}))


def sheets():
    """Workbooks."""
    rows = truth()
    good = expect(rows)

    def local(t):
        return t.astimezone(CHICAGO).replace(tzinfo=None)

    def long_sheet(piece):
        def write(book, sheet):
            style = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
            sheet.write_row(0, 0, ("time", "tag", "value"))
            for k, (t, tag, v) in enumerate(piece, start=1):
                sheet.write_datetime(k, 0, local(t), style)
                sheet.write_row(k, 1, (tag, v))

        return write

    def notes(book, sheet):
        sheet.write("A1", "Exported by the night shift")
        sheet.write("A2", "Nothing to remark")

    case("book_long.xlsx", workbook(("Data", long_sheet(rows))), good)
    two = workbook(("Notes", notes), ("1", long_sheet(rows[:9])), ("2", long_sheet(rows[9:])))
    case("book_two_sheets.xlsx", two, good)
    chosen = expect(rows[9:], layout={"sheets": ["2"]})
    case("book_sheet_described.xlsx", two, chosen)
    case("packed_book.zip", packed_zip({"book.xlsx": two}), good)

    def serial(book, sheet):
        sheet.write_row(0, 0, ("time", "tag", "value"))
        for k, (t, tag, v) in enumerate(rows, start=1):
            days = (local(t) - datetime(1899, 12, 30)) / timedelta(days=1)  # noqa: DTZ001 (local)
            sheet.write_row(k, 0, (days, tag, v))

    case("book_serial_numbers.xlsx", workbook(("Data", serial)), good)
    at = [datetime(2025, 10, 14, h, tzinfo=CHICAGO) for h in (2, 6, 10)]

    def lab_book(book, sheet):
        title = book.add_format({"bold": True})
        day = book.add_format({"num_format": "dd/mm/yyyy"})
        hour = book.add_format({"num_format": "hh:mm"})
        sheet.merge_range("A1:D1", "Laboratory book, Brindlewater", title)
        sheet.merge_range("C3:D3", "LAB CJ", title)
        sheet.write_row("A4", ("Date", "Time", "rs", "ph"))
        sheet.merge_range(4, 0, 6, 0, local(at[0]), day)
        cells = (("0,61", 7.02), ("<0,05", "n.d."), ("1,2 *", 6.97))
        for k, (t, pair) in enumerate(zip(at, cells, strict=True)):
            sheet.write(4 + k, 1, local(t).hour / 24, hour)
            sheet.write_row(4 + k, 2, pair)

    read = [(at[0], RS, 0.61), (at[1], RS, 0.05, "below_detection"), (at[2], RS, 1.2, "1,2 *"),
            (at[0], "LAB CJ ph", 7.02), (at[1], "LAB CJ ph", None, "n.d."),
            (at[2], "LAB CJ ph", 6.97)]  # fmt: skip
    case("book_laboratory_merged.xlsx", workbook(("October", lab_book)), expect(read))

    def words(book, sheet):
        style = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
        sheet.write_row(0, 0, ("Sampled", "LAB CJ rs"))
        for k, cell in enumerate((0.61, "<0.05", "no signal", 0.62)):
            sheet.write_datetime(k + 1, 0, local(START) + timedelta(hours=k), style)
            sheet.write(k + 1, 1, cell)

    hours = [START + timedelta(hours=k) for k in range(4)]
    read = [(hours[0], RS, 0.61), (hours[1], RS, 0.05, "below_detection"),
            (hours[2], RS, None, "no signal"), (hours[3], RS, 0.62)]  # fmt: skip
    case("book_text_among_numbers.xlsx", workbook(("Lab", words)), expect(read))
