"""An invented mill whose tags are numbers; a list says what they are, in Spanish."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from first_hour.books import Book, pooled_book
from first_hour.spec import Content, MillSpec, Written, lab_lines, tag_lines
from first_hour.tables import no_exports
from first_hour.tag_files import Style, long_text, tag_list

CEIBA_TAGS = tag_lines("""
X4711_03 | mj_flow    | m3/h | exception | Jugo mixto caudal magnético
X4711_04 | mj_temp    | °F   | exception | Jugo mixto temperatura
X4711_07 | mj_ph      | pH   | exception | Jugo mixto pH
X4702_01 | cane       | t/h  | exception | Báscula conductor caña
X4702_05 | imbibition | gpm  | exception | Agua imbibición últ. molino
X4702_11 | x:mill_rpm | rpm  | exception | Molino 2 velocidad
X4702_12 | x:turbine_rpm | rpm | exception | Turbina desfibradora
X4713_01 | ph_temp    | °F   | exception | Calent. primarios, temp. salida jugo
X4720_01 | lime       | L/h  | exception | Lechada cal a tanque encalado
X4720_02 | lj_ph      | pH   | exception | Jugo encalado pH
X4720_03 | 2:lj_ph    | pH   | exception | Jugo encalado pH, sonda 2
X4720_04 | sp:lj_ph   | pH   | exception | Jugo encalado pH punto de ajuste
X4720_05 | x:valve    | %    | exception | Lechada cal posición válvula
X4720_08 | lt_level   | m    | exception | Tanque encalado nivel (rebose 6 m)
X4722_01 | sh_temp    | °F   | exception | Calent. rectificadores, temp. salida jugo
X4722_02 | sp:sh_temp | °F   | exception | Calent. rectificadores, temp. ajuste
X4722_04 | sh_steam   | psi g | exception | Calent. rectificadores, presión calandria
X4725_01 | ft_temp    | °F   | exception | Tanque flash temperatura
X4730_01 | st_flow    | m3/h | exception | Jugo a clarificador caudal
X4730_02 | floc       | L/h  | exception | Floculante caudal dosificación
X4730_03 | mud_level  | %    | exception | Clarificador nivel de lodos
X4730_04 | mud_flow   | m3/h | exception | Clarificador extracción de lodos
X4730_05 | st_temp    | °F   | exception | Clarificador temp. compartimento 2
X4730_06 | cj_ph      | pH   | exception | Jugo claro pH
X4730_07 | cj_turb    | NTU  | exception | Jugo claro turbidez
X4740_01 | ct_level   | %    | exception | Tanque jugo claro nivel
X4740_02 | ct_flow    | m3/h | exception | Jugo claro a evaporación caudal
X4741_01 | ch_temp    | °F   | exception | Calent. jugo claro, temp. salida
X4750_01 | ev_temp    | °F   | exception | Vaso 1 evaporación temperatura
X4750_02 | ev_level   | %    | exception | Vaso 1 evaporación nivel
X4750_06 | x:second_degc | °C | exception | Vaso 2 evaporación temperatura
X4760_01 | filtrate   | m3/h | exception | Filtrado retorno caudal
X4760_04 | x:drum_rpm | rpm  | exception | Filtro rotativo velocidad
X4790_01 | x:boiler_psi | psi g | exception | Caldera 1 presión vapor
X4790_02 | x:condensate_us | uS/cm | exception | Condensados conductividad
""")
CEIBA_LAB = lab_lines("""
JM   | MJ | pH              | ph     | pH
JM   | MJ | °Brix           | brix   | %
JM   | MJ | % Pol           | pol    | %
JM   | MJ | Red. % jugo     | rs     | % | juice | 8
JM   | MJ | Dextranas ppm   | dextran | ppm | juice | 12
JE   | LJ | pH              | ph     | pH
JE   | LJ | Red. % jugo     | rs     | % | juice | 8
JC   | CJ | pH              | ph     | pH
JC   | CJ | °Brix           | brix   | %
JC   | CJ | % Pol           | pol    | %
JC   | CJ | Pza             | purity | %
JC   | CJ | Red. % jugo     | rs     | % | juice | 8
JC   | CJ | NTU             | turbidity | NTU
JC   | CJ | Color UI        | colour | UI | juice | 8
MEL  | SY | °Brix           | brix   | %
MEL  | SY | Pza             | purity | %
FILT | FI | pH              | ph     | pH | juice | 8
FILT | FI | °Brix           | brix   | % | juice | 8
LODO | MU | % Pol           | pol    | % | juice | 8
TORTA | CA | % Pol          | pol    | % | juice | 8
""")


def _ceiba(content: Content, folder: Path) -> list[Written]:
    style = Style(sep="\t", moment="%Y-%m-%dT%H:%M:%SZ", good="192", bad="0", utc=True)
    columns = [("id", "tag"), ("ts", "moment"), ("val", "value"), ("q", "quality")]
    files = long_text(content, folder / "export_2026.txt", columns, style)
    title = "Listado de puntos, planta La Ceiba"
    files.append(tag_list(content.spec.tags, folder / "puntos.xlsx",
                          ("Punto", "Descripción", "Unid."), title))  # fmt: skip
    book = Book(("Fecha", "Hora"), "Muestra", ("Quím.", "Turno"), moment="%d/%m/%Y %H:%M")
    files += pooled_book(content, folder / "control_quimico.csv", book)
    words = "El archivo de puntos explica cada número."
    return files + [Written(p, None) for p in no_exports(folder, "aviso", words)]


SPECS = (
    MillSpec(
        9, "La Ceiba", "es", "America/Guatemala", 419, datetime(2026, 2, 1, 6, tzinfo=UTC),
        CEIBA_TAGS, CEIBA_LAB, _ceiba, with_events=True, repeats=True,
    ),
)  # fmt: skip
