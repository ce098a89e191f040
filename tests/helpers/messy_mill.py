"""The messy exports of the tutorial: ten days of an invented mill, as its people hand them over.

    python tests/helpers/messy_mill.py sample_parquet/messy_mill/exports

writes the same files each time with the same versions of the libraries. Mill, people and numbers
are invented; the readings come from the project's simulator, with its losses in them.
"""

from __future__ import annotations

import sys
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import polars as pl
from first_hour import MillSpec, make
from first_hour.books import Book, pooled_rows, truth_of
from first_hour.spec import Content, Written, lab_lines, tag_lines
from first_hour.tables import Table, numbers, text_file, workbook
from first_hour.tag_files import Style, long_rows, tag_list
from first_hour.tag_files import truth_of as truth_of_tags

#: Tags that the control room exports, one column each, every two minutes.
_WIDE = """
VZ-101  | mj_flow    | m3/h | regular | Vazão de caldo misto
TE-102  | mj_temp    | °C   | regular | Temperatura do caldo misto
BX-103  | mj_brix    | °Brix | regular | Brix do caldo misto
MO-001  | cane       | t/h  | regular | Moagem de cana
TE-201  | ph_temp    | °C   | regular | Temperatura saída aquecedor primário
VZ-211  | lime       | L/h  | regular | Vazão de leite de cal
PH-212  | lj_ph      | pH   | regular | pH do caldo caleado
PH-212B | 2:lj_ph    | pH   | regular | pH do caldo caleado (reserva)
PH-212SP | sp:lj_ph  | pH   | regular | Setpoint pH do caldo caleado
TE-221  | sh_temp    | °C   | regular | Temperatura saída aquecedor secundário
TE-231  | ft_temp    | °C   | regular | Temperatura balão flash
VZ-301  | st_flow    | m3/h | regular | Vazão de caldo para o decantador
TE-304  | st_temp    | °C   | regular | Temperatura do decantador
NL-305  | mud_level  | %    | regular | Nível de lodo do decantador
VZ-306  | mud_flow   | m3/h | regular | Vazão de lodo para os filtros
PH-308  | cj_ph      | pH   | regular | pH do caldo clarificado
TB-309  | cj_turb    | NTU  | regular | Turbidez do caldo clarificado
TE-411  | ch_temp    | °C   | regular | Temperatura saída aquecedor de caldo clarificado
IC-105  | x:pump_a   | A    | regular | Corrente bomba de caldo misto
"""
#: Tags that a small recorder in the evaporator house writes when they change.
_LONG = """
Nivel_Tq_Caleacao | lt_level | %    | exception | Nível tanque de caleação
Temp_Tq_Caleacao  | lt_temp  | °C   | exception | Temperatura tanque de caleação
Nivel_Tq_Clarif   | ct_level | %    | exception | Nível tanque de caldo clarificado
Vazao_Evap        | ct_flow  | m3/h | exception | Vazão de caldo clarificado para evaporação
Temp_PreEvap      | ev_temp  | °C   | exception | Temperatura pré-evaporador
Caldeira_Pressao  | x:boiler_kgf | kgf/cm² | exception | Pressão da caldeira
"""
_LAB = lab_lines("""
Caldo misto       | MJ | pH          | ph     | pH
Caldo misto       | MJ | Brix (%)    | brix   | %
Caldo misto       | MJ | Pol (%)     | pol    | %
Caldo misto       | MJ | AR (%)      | rs     | % | juice | 8
Caldo misto       | MJ | Ácido lático (ppm) | lactic | ppm | juice | 12
Caldo misto - composta 24h | MJ | Brix (%) | brix | % | juice | 24
Caldo misto - composta 24h | MJ | Pol (%)  | pol  | % | juice | 24
Caldo caleado     | LJ | pH          | ph     | pH
Caldo caleado     | LJ | AR (%)      | rs     | % | juice | 8
Caldo caleado     | LJ | Ácido lático (ppm) | lactic | ppm | juice | 12
Caldo clarificado | CJ | pH          | ph     | pH
Caldo clarificado | CJ | Brix (%)    | brix   | %
Caldo clarificado | CJ | Pol (%)     | pol    | %
Caldo clarificado | CJ | AR (%)      | rs     | % | juice | 8
Torta             | CA | Pol (%)     | pol    | % | juice | 8
""")
#: What hangs on the wall of the office: name, m3, m2; somebody forgot the clear-juice tank.
_VESSELS = (
    ("Tanque de caleação", "116", ""),
    ("Balão flash", "7", ""),
    ("Decantador", "430", "125"),
    ("Pré-evaporador", "25", ""),
    ("Tanque de xarope", "60", ""),
)
_NOTE = """Oi! Seguem os dados dos dez dias que você pediu.
O pH do caldo caleado tem dois eletrodos; o B é o reserva.
O gravador do evaporador só escreve quando o valor muda.
Qualquer dúvida, ramal 214. Iracema
"""
_WIDE_TAGS, _LONG_TAGS = tag_lines(_WIDE), tag_lines(_LONG)


def _control_room(content: Content, path: Path) -> Written:
    """Date and time apart, a column a tag, decimal commas, units below the names."""
    names = [tag.name for tag in _WIDE_TAGS]
    rows = content.records.filter(pl.col("tag").is_in(names))
    sound = rows.select("time", "tag", value=pl.when("good").then("value"))
    wide = content.local(sound.pivot("tag", index="time", values="value").sort("time"))
    texts = wide.select(
        pl.col("local").dt.strftime("%d/%m/%Y").alias("day"),
        pl.col("local").dt.strftime("%H:%M").alias("clock"),
        *(numbers(name, comma=True) for name in names),
    )
    above = [["Sala de controle - tendência"], ["Data", "Hora", *names]]
    above += [["", "", *(tag.unit for tag in _WIDE_TAGS)]]
    text_file(path, Table(above, texts), ";", "cp1252")
    return Written(path, truth_of_tags(rows))


def _recorder(content: Content, path: Path) -> Written:
    """One reading a row, in a zip, as the recorder sends it."""
    rows = content.records.filter(pl.col("tag").is_in([tag.name for tag in _LONG_TAGS]))
    style = Style(";", comma=True, moment="%d/%m/%y %H:%M:%S", good="Bom", bad="Ruim")
    texts = long_rows(content, rows, style).select("tag", "moment", "value", "quality")
    inside = path.with_suffix(".csv")
    text_file(inside, Table([["Ponto", "Data/Hora", "Valor", "Qualidade"]], texts), ";")
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as packed:
        entry = zipfile.ZipInfo(inside.name, (2025, 7, 17, 8, 0, 0))
        entry.compress_type = zipfile.ZIP_DEFLATED
        packed.writestr(entry, inside.read_bytes())
    inside.unlink()
    return Written(path, truth_of_tags(rows))


def _book(content: Content, path: Path) -> Written:
    """A workbook with a row a sample and a column for the sampling point, composites among them."""
    book = Book(("Data", "Hora"), "Amostra", ("Analista", "Turno"), ("Jandira", "Otacílio", "Bia"),
                moment="%d/%m/%Y %H:%M", comma=True,
                title=("Usina Riacho do Tatu - boletim do laboratório",))  # fmt: skip
    workbook(path, {"Julho": pooled_rows(content, book)})
    return Written(path, truth_of(content, pooled=True))


def _write(content: Content, folder: Path) -> list[Written]:
    vessels = pl.DataFrame(_VESSELS, schema=["name", "m3", "m2"], orient="row")
    size = folder / "tanques.csv"
    text_file(size, Table([["Equipamento", "Volume (m3)", "Área (m2)"]], vessels), ";")
    note = folder / "LEIA-ME.txt"
    note.write_bytes(_NOTE.encode())
    return [
        _control_room(content, folder / "sala_controle.csv"),
        _recorder(content, folder / "gravador_evap.zip"),
        _book(content, folder / "boletim_lab.xlsx"),
        tag_list((*_WIDE_TAGS, *_LONG_TAGS), folder / "lista_de_tags.xlsx",
                 ("Tag", "Descrição", "Unidade")),
        Written(size, None),
        Written(note, None),
    ]  # fmt: skip


#: The mill of the tutorial; its seed lies outside those that judge the search.
SPEC = MillSpec(
    20, "Usina Riacho do Tatu", "pt", "America/Sao_Paulo", 61, datetime(2025, 7, 7, 3, tzinfo=UTC),
    (*_WIDE_TAGS, *_LONG_TAGS), _LAB, _write, every_s=120, with_events=True,
)  # fmt: skip


def main(arguments: list[str]) -> int:
    """Write the exports into the folder named, which is emptied first."""
    if len(arguments) != 1:
        sys.stderr.write("Name the folder: python tests/helpers/messy_mill.py FOLDER\n")
        return 2
    made = make(SPEC, Path(arguments[0]))
    for path in made.files:
        sys.stdout.write(f"{path.stat().st_size:>9} {path.name}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
