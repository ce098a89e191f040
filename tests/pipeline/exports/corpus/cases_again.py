"""Cases: what stands in a file a second time: headings, units, an hour; and clocks that jump."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from corpus_tools import (
    CHICAGO,
    FLOW,
    PH,
    RS,
    START,
    TAGS,
    TEMP,
    case,
    expect,
    long_text,
    stamp,
    truth,
    wide_text,
    workbook,
)

#: Clocks go back in Chicago at 07:00 UTC on this day.
FALL = datetime(2025, 11, 2, 5, tzinfo=UTC)


def _in_degf(rows):
    return [(t, tag, round(v * 1.8 + 32, 6) if tag == TEMP else v) for t, tag, v in rows]


def sections():
    """Headings and units that stand again further down."""
    rows = truth(8)
    upper, lower = rows[:12], rows[12:]
    told = ["SH.TI221: the unit changes: degC from", "degF from 2025-10-14 20:30"]
    case("headings_again.csv", long_text(upper) + long_text(lower),
         expect(rows, {"heading_again": 1}, silent=["Headings stand again"]))  # fmt: skip
    case("headings_again_wide.csv", wide_text(upper, ";") + wide_text(lower, ";"),
         expect(rows, {"heading_again": 3}))  # fmt: skip
    apart = {"time": lambda t: stamp(t, "%d.%m.%Y,%H:%M:%S"),
             "head": ("Date", "Time", "tag", "value")}  # fmt: skip
    case("headings_again_date_apart.csv", long_text(upper, **apart) + long_text(lower, **apart),
         expect(rows, {"heading_again": 1}))  # fmt: skip

    first = wide_text(upper, units=("m3/h", "pH", "degC"))
    second = wide_text(_in_degf(lower), units=("m3/h", "pH", "degF"))
    case("units_row_again.csv", first + second,
         expect(rows, {"heading_again": 3, "units_again": 3}, notes=told))  # fmt: skip
    alone = wide_text(_in_degf(lower), units=("m3/h", "-", "degF")).split("\n", 1)[1]
    case("units_row_again_alone.csv", first + alone, expect(rows, {"units_again": 3}, notes=told))
    same = wide_text(lower, units=("m3/h", "pH", "degC"))
    case("units_row_again_same.csv", first + same,
         expect(rows, {"heading_again": 3, "units_again": 3}, silent=["unit changes"]))  # fmt: skip
    plain = wide_text(lower)
    case("headings_again_without_units.csv", first + plain, expect(rows, {"heading_again": 3}))

    def bracketed(temp):
        return ("MJ.FI101 [m3/h]", "LT.AI212 [pH]", f"SH.TI221 [{temp}]")

    text = wide_text(upper, head=bracketed("degC")) + wide_text(
        _in_degf(lower), head=bracketed("degF")
    )
    case("headings_again_other_unit.csv", text, expect(rows, {"heading_again": 3}, notes=told))
    moved = [(t, TAGS[(TAGS.index(tag) + 1) % 3], v) for t, tag, v in lower]
    text = wide_text(upper) + wide_text(moved, head=(TEMP, FLOW, PH))
    differ = ["Headings stand again further down"]
    other = expect(rows, {"heading_again": 3}, notes=differ)
    case("headings_again_other_order.csv", text, other)
    text = long_text(upper) + "time,value,tag\n" + "".join(
        f"{stamp(t)},{v!r},{tag}\n" for t, tag, v in lower
    )  # fmt: skip
    case("headings_again_long_other_order.csv", text, expect(rows, {"heading_again": 1}))
    warm = [r for r in rows if r[1] == TEMP]
    text = long_text(warm[:4], head=("time", "tag", "value [degC]")) + long_text(
        _in_degf(warm[4:]), head=("time", "tag", "value [degF]")
    )
    case("headings_again_long_other_unit.csv", text,
         expect(warm, {"heading_again": 1}, notes=told))  # fmt: skip
    text = long_text(warm[:4]) + ",,degF\n" + "".join(
        long_text(_in_degf(warm[4:])).split("\n", 1)[1]
    )  # fmt: skip
    case("units_row_again_long.csv", text, expect(
        warm, {"units_again": 1}, notes=["the description another unit"]))  # fmt: skip

    def sheet(book, page):
        lines = (first + second).strip().split("\n")
        for number, line in enumerate(lines):
            for k, cell in enumerate(line.split(",")):
                as_text = k == 0 or not cell[:1].isdigit()
                (page.write_string if as_text else page.write_number)(
                    number, k, cell if as_text else float(cell)
                )

    case("units_row_again.xlsx", workbook(("Week 42", sheet)),
         expect(rows, {"heading_again": 3, "units_again": 3}, notes=told))  # fmt: skip
    case("headings_only.csv", "time,tag,value\n",
         expect([], notes=["has headings and no row below them"]))  # fmt: skip


def hours():
    """An hour that stands in the file twice, in order and not."""
    told = {"notes": ["comes twice is in the file twice, in order"], "silent": ["clock"]}
    unsaid = {"silent": ["comes twice"]}
    rows = truth(26, timedelta(minutes=10), FALL)
    for policy in ("first", "second", "refuse"):
        case(f"hour_twice_{policy}.csv", long_text(rows),
             expect(rows, mill={"ambiguous": policy}, **told))  # fmt: skip
    case("hour_twice_wide.csv", wide_text(rows, ";"), expect(rows, **told))
    back = [r for t in sorted({t for t, _, _ in rows}, reverse=True) for r in rows if r[0] == t]
    case("hour_twice_newest_first.csv", long_text(back), expect(rows, **told))
    by_tag = sorted(rows, key=lambda r: TAGS.index(r[1]))
    case("hour_twice_tag_by_tag.csv", long_text(by_tag), expect(rows, **told))
    half = truth(9, timedelta(minutes=30), FALL)
    case("hour_twice_half_hourly.csv", long_text(half), expect(half, **told))
    begun = [r for r in rows if r[0] >= FALL + timedelta(minutes=90)]
    case("hour_twice_from_its_middle.csv", long_text(begun), expect(begun, **told))
    # The second pass alone: nothing in the order shows it, and the rule says first.
    second = [r for r in rows if not timedelta(hours=1) <= r[0] - FALL < timedelta(hours=2)]
    read = [(t - timedelta(hours=1) if timedelta(hours=2) <= t - FALL < timedelta(hours=3) else t,
             tag, v) for t, tag, v in second]  # fmt: skip
    case("hour_twice_one_pass_only.csv", long_text(second), expect(read, **unsaid))
    # Sorted by the clock on the wall: both passes lie in each other, and the rule decides.
    mixed = sorted((r for r in rows if r[1] == PH), key=lambda r: stamp(r[0]))
    first = [(t - timedelta(hours=1) if timedelta(hours=2) <= t - FALL < timedelta(hours=3) else t,
              tag, v) for t, tag, v in mixed]  # fmt: skip
    case("hour_twice_mixed.csv", long_text(mixed), expect(first, **unsaid))
    late = [r for r in rows if r[1] == PH and r[0] - FALL < timedelta(hours=2)]
    late.insert(11, late.pop(9))
    case("hour_once_one_row_late.csv", long_text(late), expect(late, **unsaid))


def clocks():
    """Clocks that run ahead, and gaps that are none of that."""
    minute = timedelta(minutes=1)
    run = truth(120, minute)

    def ahead(rows, by, tags=TAGS, start=40, end=70):
        begin, until = START + start * minute, START + end * minute
        return [(t + by if begin <= t < until and tag in tags else t, tag, v) for t, tag, v in rows]

    told = {"notes": ["the clock runs ahead by about 45 min after 2025-10-14 20:29:00"],
            "silent": ["goes back"]}  # fmt: skip
    late = ahead(run, 45 * minute)
    case("clock_set_ahead.csv", long_text(late), expect(late, **told))
    case("clock_set_ahead_tag_by_tag.csv", long_text(sorted(late, key=lambda r: TAGS.index(r[1]))),
         expect(late, **told))  # fmt: skip
    one = ahead(run, 45 * minute, (PH,))
    its = expect(one, notes=["LT.AI212: the clock runs ahead"], silent=["MJ.FI101: ", "goes back"])
    case("clock_of_one_tag_set_ahead.csv", long_text(one), its)
    days = ahead(run, timedelta(days=30))
    case("clock_set_ahead_by_a_month.csv", long_text(days), expect(
        days, notes=["runs ahead by about 30 days"]))  # fmt: skip
    quiet = {"silent": ["clock"]}
    stop = [r for r in run if not 30 * minute <= r[0] - START < 90 * minute]
    case("gap_of_a_stop.csv", long_text(stop), expect(stop, **quiet))
    gap = [r for r in run if r[1] != PH or not 30 * minute <= r[0] - START < 90 * minute]
    case("gap_of_one_tag.csv", long_text(gap), expect(gap, **quiet))
    # The whole record is in order; the laboratory's own sheet is not, as people write them.
    at = [START + timedelta(hours=h) for h in (0, 2, 4, 8, 6, 10, 12, 14, 16)]
    lab = [(t, RS, round(0.6 + 0.01 * k, 3)) for k, t in enumerate(at)]
    case("results_out_of_order.csv", long_text(lab), expect(lab, silent=["runs ahead"]))
    block = [*run[:90], *run[180:270], *run[90:180], *run[270:]]
    case("a_block_too_early.csv", long_text(block), expect(block, silent=["runs ahead"]))
    local = [(t, tag, v) for t, tag, v in ahead(run, 3 * minute, start=40, end=42)]
    case("clock_set_ahead_briefly.csv", long_text(local, time=lambda t: stamp(t, zone=CHICAGO)),
         expect(local, silent=["runs ahead"]))  # fmt: skip
