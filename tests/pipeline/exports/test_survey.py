"""What `check` tells of an export before anything is stored."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import SimpleNamespace

import polars as pl
import pytest

from pipeline.base.errors import DataError
from pipeline.cli.check import check_exports
from pipeline.exports.survey import survey_export
from pipeline.mill.export_layout import ExportLayout, Exports
from pipeline.mill.units import UnitChange, signal_change


@dataclass(frozen=True)
class Mill:
    zone: str = "America/Chicago"
    ambiguous: str = "first"
    missing: str = "shift_forward"
    exports: Exports = field(default_factory=Exports)
    unit_changes: dict = field(
        default_factory=lambda: {"LT.AI212": UnitChange(), "SH.TI221": UnitChange()}
    )

    station: SimpleNamespace = field(default_factory=lambda: SimpleNamespace(signals=()))

    def change_from(self, tag, unit):
        return signal_change("temperature" if "TI" in tag else "ph", unit)


def test_a_wide_text_is_told_in_words(tmp_path):
    path = tmp_path / "night.csv"
    path.write_text(
        "Station;;;\nTime;LT.AI212;SH.TI221 [degF];XX.1\n;pH;;\n"
        + "".join(f"14.10.2025 15:{m:02d};7,4{m % 9};218,3;1\n" for m in range(30))
        + "14.10.2025 15:30;no sample;218,3;1\n"
    )
    survey = survey_export(Mill(), path)
    assert survey.lines[:6] == [
        "night.csv: as found",
        "  delimited text, utf-8, semicolon, headings in row 2; wide; decimal ,",
        "  times: column Time, written like 25.10.2025 14:30:00, zone of the mill, America/Chicago",
        "  row 1: 14.10.2025 15:00 | 7,40 | 218,3 | 1",
        "  row 2: 14.10.2025 15:01 | 7,41 | 218,3 | 1",
        "  row 3: 14.10.2025 15:02 | 7,42 | 218,3 | 1",
    ]
    assert "  from 2025-10-14 15:00:00 CDT to 2025-10-14 15:30:00 CDT" in survey.lines
    assert "  read as 2025-10-14 15:00:00 CDT  LT.AI212  7.4" in survey.lines
    assert "  LT.AI212: in pH, every 60 s, 31 readings, 1 of them bad" in survey.lines
    assert "  SH.TI221: in degF, every 60 s, 31 readings" in survey.lines
    assert "  93 values: 62 readings, 31 refused (tag not in mill 31)" in survey.lines
    assert any('the export says "degF"' in line for line in survey.lines)
    assert survey.unknown_tags == {"XX.1"}
    assert (survey.rows, survey.unreadable) == (93, 1)


def test_a_description_overrides_the_guess(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n05/10/2025 15:00,LT.AI212,7.4\n")
    layout = ExportLayout(name="mine", time_format="%m/%d/%Y %H:%M", time_zone="UTC")
    survey = survey_export(Mill(exports=Exports(layout=(layout,))), path)
    assert survey.lines[0] == 'a.csv: layout "mine"'
    assert "  times: column time, written like 10/25/2025 14:30, zone UTC" in survey.lines
    assert "  from 2025-05-10 10:00:00 CDT to 2025-05-10 10:00:00 CDT" in survey.lines


def test_hostile_names_do_not_reach_the_terminal(tmp_path):
    path = tmp_path / "a.parquet"
    frame = pl.DataFrame({"time": [1760472000], "tag": ["LT.AI212"], "value": ["\x1b[2J\x07"]})
    frame.with_columns(pl.lit("\x1b]0;x").alias("note\x1b")).write_parquet(path)
    told = "\n".join(survey_export(Mill(), path).lines)
    assert "\x1b" not in told and "\x07" not in told
    assert "counted from 1970 in UTC (epoch_s)" in told


def test_long_and_many_foreign_tags_are_shortened(tmp_path):
    path = tmp_path / "a.csv"
    foreign = ["X\x1b" + "y" * 500, *(f"Z{k:03d}" for k in range(70))]
    tags = [*foreign, "LT.AI212", "SH.TI221"]
    path.write_text("Time," + ",".join(tags) + "\n2025-10-14 15:00:00" + ",7.5" * len(tags) + "\n")

    class Named(Mill):
        name = "Brindlewater"

    lines = check_exports(Named(), [path])
    assert max(map(len, lines)) < 120
    assert "\x1b" not in "".join(lines)
    assert lines[-1] == "and 11 more tags of the files"


def test_an_export_of_headings_alone_is_told(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time,tag,value\n")
    told = "\n".join(survey_export(Mill(), path).lines)
    assert "note: The file has headings and no row below them." in told


def test_the_unit_that_a_layout_gives_is_the_one_told(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time,SH.TI221 [grados]\n2025-10-05 15:00,98.4\n2025-10-05 16:00,98.9\n")
    layout = ExportLayout(name="mine", units={"SH.TI221": "degC"})
    survey = survey_export(Mill(exports=Exports(layout=(layout,))), path)
    told = [line for line in survey.lines if line.startswith("  SH.TI221: ")]
    assert told == ["  SH.TI221: in degC, as units of the layout says, every 3600 s, 2 readings"]


def test_a_layout_for_dates_leaves_the_encoding_to_be_found(tmp_path):
    path = tmp_path / "a.csv"
    text = "Señal;Fecha;Valor\nLT.AI212;05/10/2025 15:00;7,4\n"
    path.write_bytes(text.encode("cp1252"))
    layout = ExportLayout(name="mine", time_format="%d/%m/%Y %H:%M")
    survey = survey_export(Mill(exports=Exports(layout=(layout,))), path)
    assert (survey.rows, survey.known_tags) == (1, {"LT.AI212"})
    named = ExportLayout(name="mine", time_format="%d/%m/%Y %H:%M", encoding="utf-8")
    with pytest.raises(DataError, match="not utf-8 text"):
        survey_export(Mill(exports=Exports(layout=(named,))), path)


def test_what_all_files_leave_open_is_told_at_once(tmp_path):
    for name in ("a", "b"):
        text = "time,tag,value\n05/10/2025 15:00,LT.AI212,7.4\n"
        (tmp_path / f"{name}.csv").write_text(text, encoding="utf-8")
    with pytest.raises(DataError, match="2 files cannot be read") as caught:
        check_exports(Mill(), [tmp_path / "a.csv", tmp_path / "b.csv"])
    assert "a.csv" in caught.value.where
    assert "b.csv" in caught.value.where
    assert caught.value.next_step.count("time_format") == 2


def test_readings_outside_their_range_are_counted_where_a_wrong_unit_would_show(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("time,SH.TI221\n2025-10-05 15:00,218.3\n2025-10-05 16:00,99.0\n")
    lines = survey_export(Mill(), path, {"SH.TI221": (10.0, 130.0)}).lines
    told = [line for line in lines if line.startswith("  SH.TI221: ")]
    assert told[0].endswith("2 readings, 1 of them outside its range")
    assert not any("outside" in line for line in survey_export(Mill(), path).lines)
