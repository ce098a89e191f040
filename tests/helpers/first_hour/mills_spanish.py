"""Two invented mills whose people write Spanish."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from first_hour.books import Book, long_book, sheet_a_month
from first_hour.spec import Content, MillSpec, Written, lab_lines, tag_lines
from first_hour.tables import no_exports
from first_hour.tag_files import Style, file_a_tag, long_text

TAMARINDO_TAGS = tag_lines("""
FIT110  | mj_flow    | m³/h  | lines | Flujo jugo mixto a calentadores
TIT111  | mj_temp    | °C    | lines | Temp. jugo mixto
AIT112  | mj_brix    | °Bx   | lines | Brix jugo mixto en linea
AIT113  | mj_ph      | pH    | lines | pH jugo mixto
WIT101  | cane       | t/h   | lines | Caña molida
FIT102  | imbibition | m³/h  | lines | Agua de imbibicion
SIT105  | x:mill_rpm | rpm   | lines | Velocidad molino 4
TIT121  | ph_temp    | °C    | lines | Temp. salida calentador primario
FIT130  | lime       | L/h   | lines | Flujo lechada de cal
DIT131  | x:milk_baume | °Be | lines | Densidad lechada de cal
LIT132  | x:milk_level | %   | lines | Nivel tanque lechada
AIT133  | lj_ph      | pH    | lines | pH jugo alcalizado
AIC133_SP | sp:lj_ph | pH    | exception | Consigna pH jugo alcalizado
AV133   | x:valve    | %     | lines | Salida valvula lechada
LIT134  | lt_level   | %     | lines | Nivel tanque alcalizado
TIT141  | sh_temp    | °C    | lines | Temp. salida calentador secundario
TIC141_SP | sp:sh_temp | °C  | exception | Consigna temp. calentador secundario
PIT142  | sh_steam   | kPag  | lines | Presion vapor calentador secundario
TIT145  | ft_temp    | °C    | lines | Temp. tanque flash
FIT150  | st_flow    | m³/h  | lines | Flujo jugo entrada clarificador
FIT151  | floc       | L/h   | exception | Dosis floculante clarificador
LIT152  | mud_level  | %     | lines | Nivel cachaza clarificador
FIT153  | mud_flow   | m³/h  | lines | Flujo lodos (cachaza) a filtros
TIT154  | st_temp    | °C    | lines | Temp. interior clarificador
AIT155  | cj_ph      | pH    | lines | pH jugo claro
AIT156  | cj_turb    | NTU   | lines | Turbidez jugo claro
LIT160  | ct_level   | %     | lines | Nivel tanque jugo claro
FIT161  | ct_flow    | m³/h  | lines | Flujo jugo claro a evaporadores
TIT162  | ch_temp    | °C    | lines | Temp. salida calentador jugo claro
TIT170  | ev_temp    | °C    | lines | Temp. pre-evaporador
AIT171  | ev_brix    | °Bx   | lines | Brix salida pre-evaporador
PIT180  | x:boiler_kgf | kgf/cm² | lines | Presion caldera 3
FQ110   | x:juice_m3 | m3    | exception | Totalizador jugo mixto
TIT190  | x:cooling_degc | °C | lines | Temp. agua de enfriamiento
""")
TAMARINDO_LAB = lab_lines("""
Jugo mixto          | MJ | pH            | ph     | pH
Jugo mixto          | MJ | Brix          | brix   | %
Jugo mixto          | MJ | Pol           | pol    | %
Jugo mixto          | MJ | Az. reductores | rs    | % | juice | 8
Jugo mixto compuesto | MJ | Brix         | brix   | % | juice | 24
Jugo mixto compuesto | MJ | Pol          | pol    | % | juice | 24
Jugo mixto          | MJ | Fosfatos      | phosphate | ppm | juice | 12
Jugo alcalizado     | LJ | pH            | ph     | pH
Jugo alcalizado     | LJ | Az. reductores | rs    | % | juice | 8
Jugo claro          | CJ | pH            | ph     | pH
Jugo claro          | CJ | Brix          | brix   | %
Jugo claro          | CJ | Pol           | pol    | %
Jugo claro          | CJ | Az. reductores | rs    | % | juice | 8
Jugo claro          | CJ | Color         | colour | UI | juice | 8
Jugo claro          | CJ | Fosfatos      | phosphate | ppm | juice | 12
Jugo claro          | CJ | Turbiedad     | turbidity | NTU
Meladura            | SY | Brix          | brix   | %
Meladura            | SY | Pureza        | purity | %
Jugo filtrado       | FI | Brix          | brix   | % | juice | 8
Cachaza             | CA | Pol           | pol    | % | juice | 8
""")


def _tamarindo(content: Content, folder: Path) -> list[Written]:
    style = Style(sep=";", comma=True, moment="%d/%m/%Y %H:%M:%S", good="Bueno", bad="Malo",
                  encoding="cp1252")  # fmt: skip
    columns = [("Fecha", "date"), ("Hora", "clock"), ("Señal", "tag"), ("Descripción", "about"),
               ("Valor", "value"), ("Unidad", "unit"), ("Calidad", "quality")]  # fmt: skip
    lab = [("Fecha", "date"), ("Hora", "clock"), ("Muestra", "point"), ("Análisis", "heading"),
           ("Resultado", "told"), ("Unidad", "unit"), ("Método", "method")]  # fmt: skip
    book = Book(("Fecha", "Hora"), moment="%d/%m/%Y %H:%M", sep=";", comma=True, encoding="cp1252",
                method=("puntual", "compuesto 24 h"))  # fmt: skip
    files = long_text(content, folder / "historico_fabrica.csv", columns, style, parts=2)
    files += long_book(content, folder / "laboratorio.csv", lab, book)
    words = "Datos de fábrica de diez días. La consigna de pH la mueve el jefe de turno."
    return files + [Written(p, None) for p in no_exports(folder, "LEEME", words)]


PIEDRA_TAGS = tag_lines("""
JugoMixto_Flujo    | mj_flow    | L/s  | exception
JugoMixto_Temp     | mj_temp    | °C   | exception
JMixto_pH          | mj_ph      | pH   | exception
Molienda_Cana      | cane       | t/h  | exception
Imbibicion_Agua    | imbibition | L/s  | exception
Molino1_RPM        | x:mill_rpm | rpm  | exception
BombaJM_Amperios   | x:pump_a   | A    | exception
CalentPrim_TempSal | ph_temp    | °C   | exception
LechadaCal_Flujo   | lime       | L/h  | exception
JAlcalizado_pH     | lj_ph      | pH   | exception
JAlcalizado_pH_Consigna | sp:lj_ph | pH | exception
TqAlcalizado_Nivel | lt_level   | %    | exception
TqAlcalizado_Temp  | lt_temp    | °C   | exception
CalentSec_TempSal  | sh_temp    | °C   | exception
CalentSec_PresVapor | sh_steam  | bar g | exception
TqFlash_Temp       | ft_temp    | °C   | exception
Clarif_FlujoEnt    | st_flow    | L/s  | exception
Floculante_Flujo   | floc       | L/h  | exception
Clarif_NivelLodo   | mud_level  | %    | exception
Clarif_FlujoLodo   | mud_flow   | L/s  | exception
Clarif_Temperatrua | st_temp    | °C   | exception
JugoClaro_pH       | cj_ph      | pH   | exception
JugoClaro_pH_B     | 2:cj_ph    | pH   | exception
JugoClaro_Turb     | cj_turb    | NTU  | exception
TqJugoClaro_Nivel  | ct_level   | %    | exception
JugoClaro_T        | ct_temp    | °C   | exception
JClaroEvap_Flujo   | ct_flow    | L/s  | exception
CalentJClaro_TempSal | ch_temp  | °C   | exception
CalentJClaro_TempSal_SP | sp:ch_temp | °C | exception
PreEvap_Temp       | ev_temp    | °C   | exception
PreEvap_Nivel      | ev_level   | %    | exception
Filtrado_Flujo     | filtrate   | L/s  | exception
FiltroVacio_RPM    | x:drum_rpm | rpm  | exception
Vacio_Tacho2       | x:vacuum_mmhg | mmHg | exception
VaporEscape_Pres   | x:exhaust_bar | bar g | exception
""")
PIEDRA_LAB = lab_lines("""
J. Mixto      | MJ | pH            | ph     | pH
J. Mixto      | MJ | Brix          | brix   | %
J. Mixto      | MJ | Pol           | pol    | %
J. Mixto      | MJ | Pureza        | purity | %
J. Mixto      | MJ | A.R. % Brix   | rs     | % | solids | 8
J. Mixto      | MJ | Dextrana (ppm) | dextran | ppm | juice | 12
J. Mixto      | MJ | Ac. lactico (ppm) | lactic | ppm | juice | 12
J. Encalado   | LJ | pH            | ph     | pH
J. Encalado   | LJ | A.R. % Brix   | rs     | % | solids | 8
J. Clarificado | CJ | pH           | ph     | pH
J. Clarificado | CJ | Brix         | brix   | %
J. Clarificado | CJ | Pol          | pol    | %
J. Clarificado | CJ | Pureza       | purity | %
J. Clarificado | CJ | A.R. % Brix  | rs     | % | solids | 8
J. Clarificado | CJ | Turb. (NTU)  | turbidity | NTU
Meladura      | SY | Brix          | brix   | %
Meladura      | SY | pH            | ph     | pH
J. Filtrado   | FI | Brix          | brix   | %
J. Filtrado   | FI | pH            | ph     | pH
Torta         | CA | Pol           | pol    | % | juice | 8
""")


def _piedra(content: Content, folder: Path) -> list[Written]:
    style = Style(moment="%d-%m-%Y %H:%M:%S", good="OK", bad="FALLA")
    files = file_a_tag(content, folder, "{tag}.csv", ("FechaHora", "Valor{unit}", "Estado"), style)
    book = Book(("Fecha/hora",), "Muestra", ("Analista", "Turno"), ("LPM", "CRV", "AAT"),
                moment="%d/%m/%Y %H:%M", title=("Laboratorio de fábrica",))  # fmt: skip
    files += sheet_a_month(content, folder / "Libro_laboratorio.xlsx", book)
    words = "Un archivo por señal. Los promedios del turno no están incluidos."
    return files + [Written(p, None) for p in no_exports(folder, "nota", words)]


SPECS = (
    MillSpec(
        3, "El Tamarindo", "es", "America/Mexico_City", 413, datetime(2026, 1, 11, 6, tzinfo=UTC),
        TAMARINDO_TAGS, TAMARINDO_LAB, _tamarindo, with_events=True,
    ),
    MillSpec(
        4, "Piedra Honda", "es", "America/Bogota", 414, datetime(2025, 9, 24, 5, tzinfo=UTC),
        PIEDRA_TAGS, PIEDRA_LAB, _piedra, repeats=True,
    ),
)  # fmt: skip
