"""Units that stand in an export: used, or asked about, never left out."""

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from corpus_mill import QUANTITIES, Mill

from pipeline.base.errors import DataError
from pipeline.exports.export import export_readings
from pipeline.lake.refused import Tally
from pipeline.layouts.headings import bracket_of, split_heading
from pipeline.mill.export_layout import ExportLayout
from pipeline.mill.scales import Scale

UNITS = {"flow": "m3/h", "ph": "pH", "temperature": "degC", "level": "%",
         "steam_pressure": "kPa", "lime_flow": "L/h"}  # fmt: skip


class Station(Mill):
    """A mill that also knows densities."""

    @property
    def scales(self):
        return {
            tag: Scale(q, None, UNITS[q], 1050.0 if q == "flow" else None, "that of juice")
            for tag, q in QUANTITIES.items()
        }


def read(path, layout=None, clock=None):
    tally = Tally()
    given = ExportLayout(name="given", **layout) if layout else None
    frames = list(export_readings(path, given, clock or Station(), tally))
    rows = pl.concat(frames).select("tag", "value", "bad").unique(maintain_order=True)
    return {tag: (value, bad) for tag, value, bad in rows.iter_rows()}, tally


def wide(tmp_path, *lines):
    path = tmp_path / "a.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


ROW = "2025-10-06 10:00,{}"


@pytest.mark.parametrize(
    "heading",
    ["SH.TI221 [ºF]", "SH.TI221 (Grad F)", "SH.TI221 in °F", "SH.TI221, °F", "SH.TI221_degF",
     "SH.TI221 / °F", "°F SH.TI221"],
)  # fmt: skip
def test_a_unit_beside_a_known_tag_is_found(tmp_path, heading):
    quoted = f'"{heading}"'
    found, tally = read(wide(tmp_path, f"time,{quoted}", ROW.format("212")))
    assert found == {"SH.TI221": (pytest.approx(100.0), False)}
    assert any("another unit" in note for note in tally.notes)


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        (("time,EV.PI301 [kPa(x)]", ROW.format("38")), "kPa(x)"),
        (("time,CT.LI231 [m]", ROW.format("2")), "m"),
        (("time,CT.LI231 (mA)", ROW.format("12")), "mA"),
        (("time,MJ.FI101 [t/h]", ROW.format("270")), "t/h"),
        (("time,MJ.FI101,LT.AI212", ",cuartos/h,pH", ROW.format("270,7")), "cuartos/h"),
        (("time,MJ.FI101", ",cuartos/h", ROW.format("270")), "cuartos/h"),
        ((",kPa(x),pH", "time,EV.PI301,LT.AI212", ROW.format("38,7")), "kPa(x)"),
        ((",(kPa(x)),pH", "time,EV.PI301,LT.AI212", ROW.format("38,7")), "kPa(x)"),
        (("time,tag,value,unit", ROW.format("LT.AI212,7,grads")), "grads"),
        (("time,tag,value,unit", ROW.format("LT.AI212,7,kPa")), "kPa"),
        (("time,tag,value,UoM", ROW.format("LT.AI212,7,grads")), "grads"),
        (("time,tag,value [grads]", ROW.format("LT.AI212,7")), "grads"),
        (("Unit: grads", "time,LT.AI212", ROW.format("7")), "grads"),
        (("Einheit;grads".replace(";", ","), "time,tag,value", ROW.format("LT.AI212,7")), "grads"),
        (("time,SH.TI221", *(ROW.format(f"{k} grd") for k in range(5))), "grd"),
    ],
)
def test_a_unit_that_is_not_known_is_asked_about(tmp_path, lines, told):
    with pytest.raises(DataError) as caught:
        read(wide(tmp_path, *lines))
    assert " can be " in caught.value.what and " or " in caught.value.what
    assert told in caught.value.what and "such as " in caught.value.what
    assert "units = {" in caught.value.next_step


def test_the_answer_is_taken(tmp_path):
    path = wide(tmp_path, "time,MJ.FI101 [t/h]", ROW.format("270"))
    found, tally = read(path, {"shape": "wide", "units": {"MJ.FI101": "t/h"}})
    assert found == {"MJ.FI101": (pytest.approx(270 / 1.05), False)}
    assert any("1,050.0 kg/m³" in note for note in tally.notes)
    found, _ = read(path, {"shape": "wide", "units": {"MJ.FI101": "m3/h"}})
    assert found == {"MJ.FI101": (270.0, False)}
    found, _ = read(path, {"shape": "wide", "units": {"t/h": "L/s"}})
    assert found == {"MJ.FI101": (972.0, False)}
    level = wide(tmp_path, "time,SH.TI221 [Grd]", ROW.format("212"))
    found, _ = read(level, {"shape": "wide", "units": {"Grd": "degF"}})
    assert found == {"SH.TI221": (pytest.approx(100.0), False)}


def test_a_few_marks_are_marks_and_make_a_reading_bad(tmp_path):
    lines = [f"2025-10-06 10:{k:02d},{k}.5" for k in range(20)]
    lines[3] += "*"
    found, tally = read(wide(tmp_path, "time,SH.TI221", *lines))
    assert found["SH.TI221"] is not None
    assert tally.bad == {"marked": 1}
    units = {"shape": "wide", "units": {"SH.TI221": "degF"}}
    _, tally = read(wide(tmp_path, "time,SH.TI221", *lines), units)
    assert tally.bad == {"marked": 1}


def test_a_unit_above_the_headings_holds_for_one_tag_and_is_asked_about_for_several(tmp_path):
    found, _ = read(wide(tmp_path, "Units: °F", "time,SH.TI221", ROW.format("212")))
    assert found == {"SH.TI221": (pytest.approx(100.0), False)}
    several = wide(tmp_path, "Units: °F", "time,SH.TI221,LT.AI212", ROW.format("212,7"))
    with pytest.raises(DataError, match="one tag or of all"):
        read(several)
    units = {"shape": "wide", "units": {"SH.TI221": "degF", "LT.AI212": "pH"}}
    found, _ = read(several, units)
    assert found == {"SH.TI221": (pytest.approx(100.0), False), "LT.AI212": (7.0, False)}
    plain = wide(tmp_path, "Units: metric", "Unit 3", "time,LT.AI212", ROW.format("7"))
    assert read(plain)[0] == {"LT.AI212": (7.0, False)}


def test_a_column_of_units_is_known_by_what_is_in_it(tmp_path):
    found, _ = read(wide(tmp_path, "time,tag,value,Dim", ROW.format("SH.TI221,212,degF")))
    assert found == {"SH.TI221": (pytest.approx(100.0), False)}


@pytest.mark.parametrize("place", ["column", "file", "long"])
def test_units_in_the_metadata_of_parquet(tmp_path, place):
    frame = pl.DataFrame({"time": ["2025-10-06 10:00"] * 3, "SH.TI221": [212.0] * 3})
    frame = frame.with_columns(pl.col("time").str.to_datetime())
    if place == "long":
        frame = frame.select("time", tag=pl.lit("SH.TI221"), value="SH.TI221")
    table = frame.to_arrow()
    value = table.column_names[-1]
    if place == "file":
        table = table.replace_schema_metadata({"units": '{"SH.TI221": "degF"}'})
    else:
        field = table.schema.field(value)
        schema = table.schema.set(table.num_columns - 1, field.with_metadata({"unit": "ºF"}))
        table = pa.Table.from_arrays(table.columns, schema=schema)
    pq.write_table(table, tmp_path / "a.parquet")
    found, _ = read(tmp_path / "a.parquet")
    assert found == {"SH.TI221": (pytest.approx(100.0), False)}


def test_headings_are_parted_where_the_tag_is_known():
    tags = {"FI101", "FI101 A", "LAB CJ rs"}
    assert split_heading("FI101 [kPa(g)]", tags) == ("FI101", "kPa(g)", True)
    assert split_heading("FI101 A.quality", tags) == ("FI101 A", "quality", False)
    assert split_heading("Quality of FI101", tags) == ("FI101", "Quality of", False)
    assert split_heading("FI1012", tags) is None
    assert split_heading("XFI101", tags) is None
    assert split_heading("FI101", tags) is None
    assert bracket_of("value [kPa(g)]") == "kPa(g)"
    assert bracket_of("[kPa]") == ""


def test_a_tag_in_two_columns_keeps_neither(tmp_path):
    path = wide(tmp_path, "time,SH.TI221 (avg),SH.TI221 (max),LT.AI212", ROW.format("1,2,7"))
    found, tally = read(path)
    assert found == {"LT.AI212": (7.0, False)}
    assert tally.refused == {"tag_not_in_mill": 2}
