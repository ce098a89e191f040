"""Small exports in which something could pass for something else."""

from datetime import UTC, datetime, timedelta

import polars as pl
import xlsxwriter

from pipeline.cli.check import check_mill
from pipeline.describe.describe import describe_exports
from pipeline.exports.export import export_readings
from pipeline.lake.refused import Tally
from pipeline.layouts.layout import layout_for
from pipeline.mill.description import load_mill

START = datetime(2025, 10, 6, tzinfo=UTC)


def moments(n, minutes):
    return [f"{START + timedelta(minutes=minutes * k):%Y-%m-%d %H:%M}" for k in range(n)]


def drafted(folder):
    draft = describe_exports([folder / "exports"], "Mill", "America/Bogota")
    path = folder / "mill.toml"
    path.write_text(draft.text, encoding="utf-8")
    return draft, path


def test_a_word_of_quality_is_no_unit(tmp_path):
    folder = tmp_path / "exports"
    folder.mkdir()
    for name, level in (("JugoClaro_pH", 6.9), ("JugoMixto_Temp", 35.0)):
        frame = pl.DataFrame(
            {
                "FechaHora": moments(400, 1),
                "Valor": [f"{level + 0.01 * (k % 7):.2f}" for k in range(400)],
                "Estado": ["OK"] * 400,
            }
        )
        frame.write_csv(folder / f"{name}.csv")
    draft, _ = drafted(tmp_path)
    assert {g.tag.name: g.tag.unit for g in draft.guesses} == {
        "JugoClaro_pH": "",
        "JugoMixto_Temp": "",
    }


def test_a_book_with_a_sheet_for_each_juice_is_drafted_and_read_back(tmp_path):
    folder = tmp_path / "exports"
    folder.mkdir()
    book = xlsxwriter.Workbook(str(folder / "lab.xlsx"))
    for sheet, brix in (("Jugo mezclado", 14.8), ("Jugo claro", 14.4)):
        rows = book.add_worksheet(sheet)
        rows.write_row(0, 0, ["Fecha y hora", "Brix", "Pol"])
        for k, moment in enumerate(moments(40, 240), start=1):
            rows.write_row(k, 0, [moment, brix + 0.1 * (k % 5), brix - 2.5 + 0.1 * (k % 3)])
    book.close()
    draft, path = drafted(tmp_path)
    assert {(g.tag.name, g.analyte, g.place) for g in draft.lab} == {
        ("Jugo mezclado Brix", "brix", "mixed_juice"),
        ("Jugo mezclado Pol", "pol", "mixed_juice"),
        ("Jugo claro Brix", "brix", "settler"),
        ("Jugo claro Pol", "pol", "settler"),
    }
    mill = load_mill(path)
    export = folder / "lab.xlsx"
    tally = Tally()
    layout = layout_for(export, mill.exports.layout)
    parts = list(export_readings(export, layout, mill, tally))
    assert sum(part.height for part in parts) == 160
    # Until somebody has read the draft, the check says so.
    assert any("still marked CONFIRM" in line for line in check_mill(mill))
