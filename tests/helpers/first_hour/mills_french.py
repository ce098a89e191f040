"""Two invented mills whose people write French."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from first_hour.books import Book, long_book, wide_book
from first_hour.spec import Content, MillSpec, Written, lab_lines, tag_lines
from first_hour.tables import no_exports
from first_hour.tag_files import Style, long_parquet, pairs_text

RAVINE_TAGS = tag_lines("""
JM_FT_101  | mj_flow    | m3/h | lines
JM_TT_102  | mj_temp    | °C   | lines
JM_AT_103  | mj_ph      | pH   | lines
JM_DT_104  | mj_brix    | °Bx  | lines
MOU_WT_001 | cane       | t/h  | lines
MOU_FT_002 | imbibition | m3/h | lines
MOU_ST_003 | x:mill_rpm | tr/min | lines
RJP_TT_201 | ph_temp    | °C   | lines
CHA_FT_211 | lime       | L/h  | exception
CHA_AT_212 | lj_ph      | pH   | lines
CHA_AIC_212_CNS | sp:lj_ph | pH | exception
CHA_LT_213 | lt_level   | %    | lines
CHA_TT_214 | lt_temp    | °C   | lines
CHA_AV_212 | x:valve    | %    | lines
RJS_TT_221 | sh_temp    | °C   | lines
RJS_TIC_221_CNS | sp:sh_temp | °C | exception
RJS_PT_222 | sh_steam   | bar  | lines
BDT_TT_231 | ft_temp    | °C   | lines
DEC_FT_301 | st_flow    | m3/h | lines
DEC_FT_302 | floc       | L/h  | exception
DEC_LT_305 | mud_level  | %    | lines
DEC_FT_306 | mud_flow   | m3/h | lines
DEC_TT_304 | st_temp    | °C   | lines
JC_AT_308  | cj_ph      | pH   | lines
JC_AT_308B | 2:cj_ph    | pH   | lines
JC_AT_309  | cj_turb    | NTU  | lines
JC_LT_401  | ct_level   | %    | lines
JC_TT_402  | ct_temp    | °C   | lines
JC_FT_403  | ct_flow    | m3/h | lines
RJC_TT_411 | ch_temp    | °C   | lines
EV1_TT_501 | ev_temp    | °C   | lines
EV1_LT_502 | ev_level   | %    | lines
EV2_TT_511 | x:second_degc | °C | lines
CHD_PT_601 | x:boiler_bar | bar | lines
REF_TT_701 | x:cooling_degc | °C | lines
""")
RAVINE_LAB = lab_lines("""
Jus mélangé   | MJ | pH            | ph     | pH
Jus mélangé   | MJ | Brix          | brix   | %
Jus mélangé   | MJ | Pol           | pol    | %
Jus mélangé   | MJ | Réducteurs    | rs     | % | juice | 8
Jus mélangé (composite jour) | MJ | Pol | pol  | % | juice | 24
Jus mélangé (composite jour) | MJ | Pureté | purity | % | juice | 24
Jus mélangé   | MJ | Acide lactique | lactic | mg/kg | juice | 12
Jus chaulé    | LJ | pH            | ph     | pH
Jus chaulé    | LJ | Réducteurs    | rs     | % | juice | 8
Jus chaulé    | LJ | Acide lactique | lactic | mg/kg | juice | 12
Jus clair     | CJ | pH            | ph     | pH
Jus clair     | CJ | Brix          | brix   | %
Jus clair     | CJ | Pol           | pol    | %
Jus clair     | CJ | Réducteurs    | rs     | % | juice | 8
Jus clair     | CJ | Turbidité     | turbidity | NTU
Jus clair     | CJ | Couleur       | colour | IU | juice | 8
Sirop         | SY | Brix          | brix   | %
Sirop         | SY | Pureté        | purity | %
Filtrat       | FI | pH            | ph     | pH | juice | 8
Boues         | MU | Pol           | pol    | % | juice | 8
Tourteau      | CA | Pol           | pol    | % | juice | 8
""")


def _ravine(content: Content, folder: Path) -> list[Written]:
    style = Style(";", comma=True, moment="%d/%m/%Y %H:%M:%S", encoding="latin-1")
    half = len(content.spec.tags) // 2
    files = pairs_text(content, folder / "tendances_A.csv", "Horodatage", style,
                       content.spec.tags[:half])  # fmt: skip
    files += pairs_text(content, folder / "tendances_B.csv", "Horodatage", style,
                        content.spec.tags[half:])  # fmt: skip
    book = Book(("Date", "Heure"), moment="%d/%m/%Y %H:%M", sep=";", comma=True,
                encoding="latin-1", method=("ponctuel", "composite"),
                analysts=("Hoarau", "Payet", "Grondin"))  # fmt: skip
    lab = [("Date", "date"), ("Heure", "clock"), ("Produit", "point"), ("Analyse", "heading"),
           ("Valeur", "told"), ("Unité", "unit"), ("Opérateur", "analyst")]  # fmt: skip
    files += long_book(content, folder / "analyses_labo.csv", lab, book)
    words = "Tendances de l'atelier d'épuration. Heure locale."
    return files + [Written(p, None) for p in no_exports(folder, "LISEZMOI", words)]


BELLERIVE_TAGS = tag_lines("""
DebitJusMelange     | mj_flow    | m3/h | exception
TempJusMelange      | mj_temp    | degC | exception
pHJusMelange        | mj_ph      | pH   | exception
BroyageCanne_TCH    | cane       | t/h  | exception
DebitEauImbib       | imbibition | m3/h | exception
VitesseMoulin1      | x:mill_rpm | rpm  | exception
TempSortieRechPrim  | ph_temp    | degC | exception
DebitLaitChaux      | lime       | L/h  | exception
DensiteLaitChaux    | x:milk_baume | Be | exception
pHJusChaule         | lj_ph      | pH   | exception
pHJusChaule_2       | 2:lj_ph    | pH   | exception
Consigne_pHJusChaule | sp:lj_ph  | pH   | exception
NiveauBacChaulage   | lt_level   | %    | exception
TempSortieRechSec   | sh_temp    | degC | exception
ConsigneTempRechSec | sp:sh_temp | degC | exception
PressVapRechSec     | sh_steam   | kPa g | exception
TempBallonDetente   | ft_temp    | degC | exception
DebitEntreeDecant   | st_flow    | m3/h | exception
DebitFloculant      | floc       | L/h  | exception
NivBouesDecant      | mud_level  | %    | exception
DebitBoues          | mud_flow   | m3/h | exception
TempDecanteur       | st_temp    | degC | exception
pHJusClair          | cj_ph      | pH   | exception
TurbJusClair        | cj_turb    | NTU  | exception
ConductJusClair     | cj_cond    | mS/cm | exception
NiveauBacJusClair   | ct_level   | %    | exception
DebitJClairEvap     | ct_flow    | m3/h | exception
TempSortieRechJClair | ch_temp   | degC | exception
TempCaisse1         | ev_temp    | degC | exception
BrixSortieCaisse1   | ev_brix    | Brix | exception
TempCaisse2         | x:second_degc | degC | exception
DebitFiltrat        | filtrate   | m3/h | exception
CourantPompeSirop   | x:pump_a   | A    | exception
PressionChaudiere   | x:boiler_bar | bar g | exception
CompteurJus         | x:juice_m3 | m3   | exception
""")
BELLERIVE_LAB = lab_lines("""
JM  | MJ | JM pH             | ph     | pH
JM  | MJ | JM Brix           | brix   | %
JM  | MJ | JM Pol            | pol    | %
JM  | MJ | JM Pureté         | purity | %
JM  | MJ | JM Glucose % sucre | rs    | % | pol | 8
JMc | MJ | JM Pol composite 24h | pol | % | juice | 24
JMc | MJ | JM Brix composite 24h | brix | % | juice | 24
JCH | LJ | J chaulé pH       | ph     | pH
JCH | LJ | J chaulé Glucose % sucre | rs | % | pol | 8
JC  | CJ | J clair pH        | ph     | pH
JC  | CJ | J clair Brix      | brix   | %
JC  | CJ | J clair Pol       | pol    | %
JC  | CJ | J clair Glucose % sucre | rs | % | pol | 8
JC  | CJ | J clair P2O5 (mg/kg) | phosphate | mg/kg | juice | 12
JC  | CJ | J clair Turbidité (NTU) | turbidity | NTU
SIR | SY | Sirop Brix        | brix   | %
SIR | SY | Sirop pH          | ph     | pH
FIL | FI | Filtrat Brix      | brix   | % | juice | 8
ECU | CA | Ecumes Pol        | pol    | % | juice | 8
""")


def _bellerive(content: Content, folder: Path) -> list[Written]:
    columns = [("etat", "quality"), ("mesure", "value"), ("repere", "tag"),
               ("horodatage", "moment"), ("unite", "unit")]  # fmt: skip
    files = long_parquet(content, folder / "archive_procede.parquet", columns, ("bon", "mauvais"))
    book = Book(("Date", "Heure"), moment="%d.%m.%Y %H:%M", sep=";", comma=True,
                title=("Cahier de laboratoire", ""))  # fmt: skip
    files += wide_book(content, folder / "cahier_labo.csv", book)
    words = "Archive par exception. Le bac de jus clair a été nettoyé dimanche."
    return files + [Written(p, None) for p in no_exports(folder, "lisez_moi", words)]


SPECS = (
    MillSpec(
        7, "Ravine des Lataniers", "fr", "Indian/Reunion", 417,
        datetime(2025, 8, 31, 20, tzinfo=UTC), RAVINE_TAGS, RAVINE_LAB, _ravine, with_events=True,
    ),
    MillSpec(
        8, "Bellerive-sur-Mer", "fr", "Indian/Mauritius", 418,
        datetime(2025, 9, 7, 20, tzinfo=UTC), BELLERIVE_TAGS, BELLERIVE_LAB, _bellerive,
        repeats=True, pooled=False,
    ),
)  # fmt: skip
