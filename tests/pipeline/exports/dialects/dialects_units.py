"""Units in headings, rows, columns and behind the numbers: known ones, odd spellings, others.

Exported numbers are worked out here from the truth with factors of the SI Brochure (9th ed.) and
NIST SP 811, appendix B.8: 1 ft3 = 0.028 316 846 592 m3, 1 US gallon =
3.785 411 784 L, 1 kgf/cm2 = 98.0665 kPa, standard atmosphere 101.325 kPa.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from decimal import Decimal

from dialect_truth import ANY, ASK, EITHER, READ, SIX, Dialect, Reading, record
from dialect_write import PLAIN, Rows, long, text, wide, with_column

FOOT3_M3 = Decimal("0.028316846592")
ATMOSPHERE_KPA = Decimal("101.325")
GALLON_L = Decimal("3.785411784")
KGF_CM2_KPA = Decimal("98.0665")
UNIT = {
    "MJ.FI101": "m3/h", "LM.FI301": "L/h", "LT.AI212": "pH", "SH.TI221": "degC", "CT.LI231": "%",
    "YD.TI901": "degC", "EV.PI301": "kPa",
}  # fmt: skip
Change = Callable[[Decimal], Decimal]


def degf(value: Decimal) -> Decimal:
    return value * 9 / 5 + 32


def by(factor: str | Decimal, offset: str | Decimal = "0") -> Change:
    """Exported number from the inside one."""
    return lambda value: value * Decimal(factor) + Decimal(offset)


#: Name, tag, unit as written, how the number is exported, what may become of it. The units of
#: the last kind cannot be turned into the inside unit without knowing more of the plant.
CASES: tuple[tuple[str, str, str, Change, frozenset[str]], ...] = (
    ("degF", "SH.TI221", "degF", degf, READ),
    ("degree sign F", "SH.TI221", "°F", degf, READ),
    ("ordinal sign F", "SH.TI221", "ºF", degf, EITHER),
    ("deg F with a blank", "SH.TI221", "deg F", degf, EITHER),
    ("Grad F", "SH.TI221", "Grad F", degf, EITHER),
    ("one sign F", "SH.TI221", "\u2109", degf, EITHER),
    ("deg. F", "SH.TI221", "deg. F", degf, EITHER),
    ("Fahrenheit", "SH.TI221", "Fahrenheit", degf, EITHER),
    ("K", "SH.TI221", "K", by("1", "273.15"), READ),
    ("ordinal sign C", "SH.TI221", "ºC", by("1"), EITHER),
    ("L/s", "MJ.FI101", "L/s", lambda v: v / Decimal("3.6"), READ),
    ("m3/s", "MJ.FI101", "m³/s", lambda v: v / 3600, READ),
    ("m3/hora", "MJ.FI101", "m³/hora", by("1"), EITHER),
    ("m3/Std", "MJ.FI101", "m³/Std", by("1"), EITHER),
    ("m3 per hour", "MJ.FI101", "cubic metres per hour", by("1"), EITHER),
    ("m3.h-1", "MJ.FI101", "m³·h⁻¹", by("1"), EITHER),
    ("m3/dia", "MJ.FI101", "m³/dia", by("24"), EITHER),
    ("l/seg", "MJ.FI101", "l/seg", lambda v: v / Decimal("3.6"), EITHER),
    ("ft3/min", "MJ.FI101", "ft3/min", lambda v: v / FOOT3_M3 / 60, EITHER),
    ("cfm", "MJ.FI101", "cfm", lambda v: v / FOOT3_M3 / 60, EITHER),
    ("gal/min", "MJ.FI101", "gal/min", by(1 / (GALLON_L * Decimal("0.06"))), EITHER),
    ("juice in t/h", "MJ.FI101", "t/h", by("1.06"), ASK),
    ("juice in kg/s", "MJ.FI101", "kg/s", lambda v: v * Decimal("1.06") / Decimal("3.6"), ASK),
    ("level in m", "CT.LI231", "m", by("0.08"), ASK),
    ("level in mm", "CT.LI231", "mm", by("80"), ASK),
    ("level in cm", "CT.LI231", "cm", by("8"), ASK),
    ("level as fraction", "CT.LI231", "fraction", by("0.01"), READ),
    ("level 0-1", "CT.LI231", "0..1", by("0.01"), EITHER),
    ("level in mA", "CT.LI231", "mA", by("0.16", "4"), ASK),
    ("counts", "CT.LI231", "counts", by("40.95"), ASK),
    ("kPa gauge in brackets", "EV.PI301", "kPa(g)", by("1", -ATMOSPHERE_KPA), READ),
    ("kPag", "EV.PI301", "kPag", by("1", -ATMOSPHERE_KPA), READ),
    ("kPa gauge", "EV.PI301", "kPa gauge", by("1", -ATMOSPHERE_KPA), EITHER),
    ("kPa g", "EV.PI301", "kPa-g", by("1", -ATMOSPHERE_KPA), EITHER),
    ("kPa man.", "EV.PI301", "kPa man.", by("1", -ATMOSPHERE_KPA), EITHER),
    ("bar gauge", "EV.PI301", "bar gauge", lambda v: (v - ATMOSPHERE_KPA) / 100, EITHER),
    ("bar(g)", "EV.PI301", "bar(g)", lambda v: (v - ATMOSPHERE_KPA) / 100, READ),
    ("kgf/cm2 g", "EV.PI301", "kgf/cm² g", lambda v: (v - ATMOSPHERE_KPA) / KGF_CM2_KPA, EITHER),
    ("hPa", "EV.PI301", "hPa", by("10"), EITHER),
    ("kPa abs", "EV.PI301", "kPa abs", by("1"), READ),
    ("L/min", "LM.FI301", "L/min", lambda v: v / 60, READ),
    ("m3/h of lime", "LM.FI301", "m3/h", by("0.001"), READ),
    ("rs in g/L", "LAB CJ rs", "g/L", by("10.6"), ASK),
    ("rs in g/100 mL", "LAB CJ rs", "g/100 mL", by("1.06"), ASK),
    ("rs in mg/kg", "LAB CJ rs", "mg/kg", by("10000"), READ),
    ("rs in ppm", "LAB CJ rs", "ppm", by("10000"), EITHER),
    ("rs in g/100 g", "LAB CJ rs", "g/100 g", by("1"), EITHER),
    ("rs on Brix", "LAB CJ rs", "% on Brix", by("6.6"), ASK),
)  # fmt: skip


def exported(truth: list[Reading], tag: str, change: Change) -> list[Reading]:
    """The numbers of one tag as they stand in the export."""
    return [
        r._replace(text=str(round(change(Decimal(r.text or "0")), 9).normalize() + 0))
        if r.tag == tag
        else r
        for r in truth
    ]


def _plain(cell: str) -> str:
    """No exponent: 1E+2 is 100."""
    return format(Decimal(cell), "f")


def tags_with(tag: str) -> tuple[str, ...]:
    return SIX if tag in SIX else (*SIX, tag)


def in_headings(rows: Rows, units: dict[str, str], form: str = "{} [{}]") -> Rows:
    """Units behind the names of a wide table."""
    return [[form.format(c, units[c]) if c in units else c for c in rows[0]], *rows[1:]]


def in_row(rows: Rows, units: dict[str, str], first: str = "") -> Rows:
    """A row of units under the headings."""
    return [rows[0], [first, *(units.get(c, "") for c in rows[0][1:])], *rows[1:]]


def dialects() -> Iterator[Dialect]:
    places = ("heading", "row", "column")
    for number, (name, tag, unit, change, allowed) in enumerate(CASES):
        place = places[number % 3]
        truth = record(tags=tags_with(tag))
        shown = [r._replace(text=_plain(r.text)) for r in exported(truth, tag, change)]
        units = UNIT | {"LAB CJ rs": "%"} | {tag: unit}
        # Whether a heading with brackets is a tag is open where the unit in them is unknown.
        fate = allowed if allowed is READ else allowed | {"rows"}
        if place == "column":
            rows = long(shown)
            rows = with_column(rows, "unit", [units[r.tag] for r in shown])
        else:
            rows = wide(shown)
            rows = in_headings(rows, units) if place == "heading" else in_row(rows, units)
        yield Dialect(f"unit: {name}, in a {place}", "unit", {"export.csv": text(rows)}, truth,
                      fate, proposal=f'units = {{ "{unit}" = ... }}')  # fmt: skip
    yield from _places()


def _places() -> Iterator[Dialect]:
    """The same degF told in other places."""
    truth = record()
    shown = [r._replace(text=_plain(r.text)) for r in exported(truth, "SH.TI221", degf)]
    units = UNIT | {"SH.TI221": "°F"}
    for form, allowed in (
        ("{} ({})", READ), ("{} {{{}}}", READ), ("{}, {}", ANY), ("{} {}", ANY), ("{}_{}", ANY),
        ("{} / {}", ANY), ("{} in {}", ANY),
    ):  # fmt: skip
        rows = in_headings(wide(shown), units, form)
        yield Dialect(f"unit: degF, headings as {form.format('TAG', 'unit')}", "unit",
                      {"export.csv": text(rows)}, truth, allowed)  # fmt: skip
    rows = in_row(wide(shown), units, "unit")
    yield Dialect(
        "unit: degF, row of units told as such", "unit", {"export.csv": text(rows)}, truth
    )
    rows = wide(shown)
    rows = [["", *(units[c] for c in rows[0][1:])], *rows]
    yield Dialect("unit: degF, row of units above the headings", "unit",
                  {"export.csv": text(rows)}, truth, EITHER)  # fmt: skip
    words = {"SH.TI221": "Juice temperature in °F", "MJ.FI101": "Mixed juice m3/h"}
    rows = in_row(wide(shown), words, "description")
    yield Dialect("unit: degF, in the description only", "unit", {"export.csv": text(rows)}, truth,
                  EITHER)  # fmt: skip
    rows = wide(shown)
    rows = [rows[0], *([*r[:4], f"{r[4]} °F", *r[5:]] for r in rows[1:])]
    yield Dialect("unit: degF behind each number", "unit", {"export.csv": text(rows)}, truth)
    rows = wide(shown)
    rows = [rows[0], *([*r[:4], f"{r[4]} ºF", *r[5:]] for r in rows[1:])]
    yield Dialect("unit: ordinal sign F behind each number", "unit", {"export.csv": text(rows)},
                  truth, ANY)  # fmt: skip
    rows = wide(truth)
    rows = [rows[0], *([*r[:5], f"{r[5]} %", *r[6:]] for r in rows[1:])]
    yield Dialect("unit: per cent behind each number", "unit", {"export.csv": text(rows)}, truth)
    half = len(truth) // 2
    table = long(truth[:half] + shown[half:])
    told = [UNIT[r.tag] for r in truth[:half]] + [units[r.tag] for r in shown[half:]]
    yield Dialect("unit: changes halfway in its column", "unit",
                  {"export.csv": text(with_column(table, "unit", told))}, truth)  # fmt: skip
    for heading in ("Engineering Units", "UoM", "Unidad", "Unidade", "Unité", "Einheit", "EU"):
        table = with_column(long(shown), heading, [units[r.tag] for r in shown])
        yield Dialect(f"unit: degF in a column called {heading}", "unit",
                      {"export.csv": text(table, PLAIN)}, truth, EITHER)  # fmt: skip
