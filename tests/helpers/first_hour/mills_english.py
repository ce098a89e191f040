"""Three invented mills whose people write English."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from first_hour.books import Book, long_book, pooled_book, wide_book
from first_hour.spec import Content, MillSpec, Written, lab_lines, tag_lines
from first_hour.tables import no_exports
from first_hour.tag_files import Style, long_text, wide_text

TAMARACK_TAGS = tag_lines("""
FT1102   | mj_flow    | gpm     | regular | MIXED JCE TO HTRS FLOW
TT1103   | mj_temp    | °F      | regular | MIXED JCE TEMP
AT1104   | mj_ph      | pH      | regular | MIXED JCE PH
AT1105   | mj_brix    | Brix    | regular | MIXED JCE REFRACTOMETER
WT1001   | cane       | t/h     | regular | CANE GRIND RATE
FT1010   | imbibition | gpm     | regular | IMBIB WTR TO LAST MILL
ST1020   | x:mill_rpm | rpm     | regular | MILL NO 1 SPEED
IT1131   | x:pump_a   | A       | regular | MIXED JCE PUMP A AMPS
TT1201   | ph_temp    | °F      | regular | PRI HTR OUTLET TEMP
FT1210   | lime       | L/min   | regular | MILK OF LIME TO LIMING TK
AT1212   | lj_ph      | pH      | regular | LIMED JCE PH
AC1212SP | sp:lj_ph   | pH      | regular | LIMED JCE PH CTRLR SETPT
ZT1212   | x:valve    | %       | regular | LIME CTRL VLV OUTPUT
LT1213   | lt_level   | %       | regular | LIMING TK LEVEL
TT1221   | sh_temp    | °F      | regular | SEC HTR OUTLET TEMP
TC1221SP | sp:sh_temp | °F      | regular | SEC HTR TEMP SETPT
PT1222   | sh_steam   | psig    | regular | SEC HTR STEAM CHEST PRESS
TT1231   | ft_temp    | °F      | regular | FLASH TK JCE TEMP
FT1301   | st_flow    | gpm     | regular | JCE FLOW TO CLARIFIER
FT1302   | floc       | L/h     | regular | FLOCCULANT SOLN TO CLARIFIER
LT1305   | mud_level  | %       | regular | CLARIFIER MUD BED LEVEL
FT1306   | mud_flow   | gpm     | regular | CLARIFIER UNDERFLOW MUD FLOW
TT1304   | st_temp    | °F      | regular | CLARIFIER TEMP
AT1308   | cj_ph      | pH      | regular | CLARIFIED JCE PH
AT1309   | cj_turb    | NTU     | regular | CLARIFIED JCE TURBIDITY
LT1401   | ct_level   | %       | regular | CLR JCE TK LEVEL
FT1403   | ct_flow    | gpm     | regular | CLR JCE TO EVAPS FLOW
TT1411   | ch_temp    | °F      | regular | CLR JCE HTR OUT TEMP
TT1501   | ev_temp    | °F      | regular | 1ST EFFECT PRE-EVAP BODY TEMP
TT1502   | x:second_degc | °C   | regular | 2ND EFFECT VAPOR TEMP
PT1600   | x:boiler_psi  | psig | regular | BOILER NO 2 DRUM PRESS
TT1701   | x:cooling_degf | °F  | regular | INJ WTR SUPPLY TEMP
""")
TAMARACK_LAB = lab_lines("""
Mixed juice     | MJ | pH       | ph     | pH
Mixed juice     | MJ | Brix (%) | brix   | %
Mixed juice     | MJ | Pol (%)  | pol    | %
Mixed juice     | MJ | Purity   | purity | %
Mixed juice     | MJ | RS (% on juice) | rs | % | juice | 8
Limed juice     | LJ | pH       | ph     | pH
Limed juice     | LJ | Brix (%) | brix   | %
Limed juice     | LJ | RS (% on juice) | rs | % | juice | 8
Clarified juice | CJ | pH       | ph     | pH
Clarified juice | CJ | Brix (%) | brix   | %
Clarified juice | CJ | Pol (%)  | pol    | %
Clarified juice | CJ | Purity   | purity | %
Clarified juice | CJ | RS (% on juice) | rs | % | juice | 8
Clarified juice | CJ | Turbidity (NTU)  | turbidity | NTU
Syrup           | SY | Brix (%) | brix   | %
Syrup           | SY | Purity   | purity | %
Filter cake     | CA | Pol (%)  | pol    | % | juice | 8
""")


def _tamarack(content: Content, folder: Path) -> list[Written]:
    style = Style(moment="%m/%d/%Y %H:%M:%S")
    book = Book(("Date", "Time"), "Sample", ("Analyst", "Shift"), moment="%m/%d/%Y %H:%M")
    corner = ("Timestamp", "Description", "Units")
    files = wide_text(content, folder / "process_trend.csv", corner, "tdu", style)
    files += pooled_book(content, folder / "lab_sheet.csv", book)
    words = "Trends from the boiling house, asked for by the shift chemist. One minute values."
    return files + [Written(p, None) for p in no_exports(folder, "README", words)]


SWARTKLIP_TAGS = tag_lines("""
MixJuiceFlow     | mj_flow    | L/s   | exception
MixJcTemp        | mj_temp    | degC  | exception
MixJc_pH         | mj_ph      | pH    | exception
CaneTPH          | cane       | t/h   | exception
ImbWaterFlow     | imbibition | L/s   | exception
ShredderTurbRPM  | x:turbine_rpm | rpm | exception
PrimHtrJcOutTemp | ph_temp    | degC  | exception
LimeFlo_LPH      | lime       | L/h   | exception
LimedJc_pH       | lj_ph      | pH    | exception
LimedJc_pH_SP    | sp:lj_ph   | pH    | exception
LimedJc_pH_2     | 2:lj_ph    | pH    | exception
LimeVlvOP        | x:valve    | %     | exception
LimingTnkLvl     | lt_level   | %     | exception
SecHtrJcOutTemp  | sh_temp    | degC  | exception
SecHtrSteamPres  | sh_steam   | kPa g | exception
FlashTnkTemp     | ft_temp    | degC  | exception
ClarFeedFlow     | st_flow    | L/s   | exception
FloccDosing      | floc       | L/h   | exception
FloccDosing_SP   | sp:floc    | L/h   | exception
ClarMudLevel     | mud_level  | %     | exception
ClarMudFlow      | mud_flow   | L/s   | exception
ClarTemp         | st_temp    | degC  | exception
CJpH             | cj_ph      | pH    | exception
CJTurb           | cj_turb    | NTU   | exception
CJCond           | cj_cond    | mS/cm | exception
CJTankLvl        | ct_level   | %     | exception
CJFlowToEvap     | ct_flow    | L/s   | exception
CJHtrOutTmp      | ch_temp    | degC  | exception
Evap1Temp        | ev_temp    | degC  | exception
Evap1JuiceBrix   | ev_brix    | Bx    | exception
FiltrateFlo      | filtrate   | L/s   | exception
VacPumpAmps      | x:pump_a   | A     | exception
ExhaustStmPress  | x:exhaust_kpag | kPa g | exception
MolTankLvl       | x:milk_level | %   | exception
""")
SWARTKLIP_LAB = lab_lines("""
MJ        | MJ | pH           | ph     | pH
MJ        | MJ | Brix         | brix   | %
MJ        | MJ | RS           | rs     | % | juice | 8
MJ Comp   | MJ | Pol          | pol    | % | juice | 24
MJ Comp   | MJ | Brix         | brix   | % | juice | 24
MJ        | MJ | Lactic acid  | lactic | ppm | juice | 12
LJ        | LJ | pH           | ph     | pH
LJ        | LJ | RS           | rs     | % | juice | 8
LJ        | LJ | Lactic acid  | lactic | ppm | juice | 12
CJ        | CJ | pH           | ph     | pH
CJ        | CJ | Brix         | brix   | %
CJ        | CJ | RS           | rs     | % | juice | 8
CJ        | CJ | Turb         | turbidity | NTU
CJ        | CJ | Colour       | colour | IU | juice | 8
CJ        | CJ | P2O5         | phosphate | ppm | juice | 8
MJ        | MJ | P2O5         | phosphate | ppm | juice | 8
MJ        | MJ | Dextran      | dextran | ppm | juice | 12
Filtrate  | FI | Brix         | brix   | % | juice | 8
Filtrate  | FI | pH           | ph     | pH | juice | 8
Mud       | MU | Pol          | pol    | % | juice | 8
Syrup     | SY | Brix         | brix   | %
Syrup     | SY | pH           | ph     | pH
""")


def _swartklip(content: Content, folder: Path) -> list[Written]:
    columns = [("Quality", "quality"), ("PointValue", "value"), ("TimeStamp", "moment"),
               ("EngUnits", "unit"), ("PointID", "tag")]  # fmt: skip
    lab = [("Sample Time", "moment"), ("Sample", "point"), ("Test", "heading"),
           ("Result", "told"), ("Unit", "unit"), ("Analyst", "analyst")]  # fmt: skip
    style = Style(moment="%Y/%m/%d %H:%M:%S", good="Good", bad="Bad")
    files = long_text(content, folder / "dcs_points.csv", columns, style, parts=2)
    book = Book(analysts=("N. Dube", "P. Naidoo", "L. Botha"), moment="%Y/%m/%d %H:%M")
    files += long_book(content, folder / "LIMS_results.csv", lab, book)
    words = "Points for the clarifier review. LIMS results are separate."
    return files + [Written(p, None) for p in no_exports(folder, "readme", words)]


COOLABAH_TAGS = tag_lines("""
MJ-FIT-101   | mj_flow    | m3/h  | regular
MJ-TIT-102   | mj_temp    | °C    | regular
MJ-AIT-103   | mj_brix    | °Bx   | regular
MJ-AIT-104   | mj_ph      | pH    | regular
MJ-IT-110    | x:pump_a   | A     | regular
MIL-WIT-001  | cane       | t/h   | regular
MIL-FIT-002  | imbibition | m3/h  | regular
MIL-SIT-011  | x:mill_rpm | rpm   | regular
MIL-SIT-012  | x:mill_rpm | rpm   | regular
PJH-TIT-201  | ph_temp    | °C    | regular
LIM-FIT-211  | lime       | L/h   | regular
LIM-AIT-212A | lj_ph      | pH    | regular
LIM-AIT-212B | 2:lj_ph    | pH    | regular
LIM-AIC-212.SP | sp:lj_ph | pH    | regular
LIM-LIT-213  | lt_level   | %     | regular
LIM-AV-212   | x:valve    | %     | regular
SJH-TIT-221  | sh_temp    | °C    | regular
SJH-TIC-221.SP | sp:sh_temp | °C  | regular
SJH-PIT-222  | sh_steam   | kPag  | regular
FLT-TIT-231  | ft_temp    | °C    | regular
CLR-FIT-301  | st_flow    | m3/h  | regular
CLR-FIT-302  | floc       | L/h   | regular
CLR-LIT-305  | mud_level  | %     | regular
CLR-FIT-306  | mud_flow   | m3/h  | regular
CLR-TIT-304  | st_temp    | °C    | regular
CLJ-AIT-308  | cj_ph      | pH    | regular
CLJ-AIT-309  | cj_turb    | NTU   | regular
ESJ-LIT-401  | ct_level   | %     | regular
ESJ-TIT-402  | ct_temp    | °C    | regular
ESJ-FIT-403  | ct_flow    | m3/h  | regular
EV1-TIT-501  | ev_temp    | °C    | regular
EV1-LIT-502  | ev_level   | %     | regular
EV2-TIT-511  | x:second_degc | °C | regular
BLR-PIT-601  | x:boiler_bar | bar g | regular
BLR-LIT-602  | x:boiler_level | % | regular
CWS-TIT-701  | x:cooling_degc | °C | regular
""")
COOLABAH_LAB = lab_lines("""
MJ  | MJ | MJ pH        | ph     | pH
MJ  | MJ | MJ Bx        | brix   | %
MJ  | MJ | MJ Pol       | pol    | %
MJ  | MJ | MJ RS % sol  | rs     | % | solids | 8
LJ  | LJ | Limed pH     | ph     | pH
LJ  | LJ | Limed RS % sol | rs   | % | solids | 8
ESJ | EJ | ESJ pH       | ph     | pH
ESJ | EJ | ESJ Bx       | brix   | %
ESJ | EJ | ESJ Pty      | purity | %
ESJ | EJ | ESJ RS % sol | rs     | % | solids | 8
ESJ | EJ | ESJ Turb     | turbidity | NTU
ESJ | EJ | ESJ Colour   | colour | IU | juice | 12
FIL | FI | Filtrate pH  | ph     | pH | juice | 8
MUD | MU | Mud Pol      | pol    | % | juice | 8
LIQ | SY | Liquor Bx    | brix   | %
LIQ | SY | Liquor pH    | ph     | pH
""")


def _coolabah(content: Content, folder: Path) -> list[Written]:
    style = Style(moment="%d/%m/%Y %H:%M")
    corner = ("Date Time", "", "Unit")
    files = wide_text(content, folder / "FACTORY_1MIN.csv", corner, "tu", style)
    book = Book(("Date", "Time"), moment="%d/%m/%Y %H:%M", title=("Coolabah laboratory day book",))
    files += wide_book(content, folder / "LabBook.csv", book)
    words = "ESJ is what goes to the evaporators. Tanks were surveyed in the slack season."
    return files + [Written(p, None) for p in no_exports(folder, "notes", words)]


SPECS = (
    MillSpec(
        1, "Tamarack Bend", "en", "America/Chicago", 411, datetime(2025, 11, 10, 6, tzinfo=UTC),
        TAMARACK_TAGS, TAMARACK_LAB, _tamarack,
    ),
    MillSpec(
        2, "Swartklip", "en", "Africa/Johannesburg", 412, datetime(2025, 6, 15, 22, tzinfo=UTC),
        SWARTKLIP_TAGS, SWARTKLIP_LAB, _swartklip, repeats=True,
    ),
    MillSpec(
        10, "Coolabah Creek", "en", "Australia/Brisbane", 420,
        datetime(2025, 7, 20, 14, tzinfo=UTC), COOLABAH_TAGS, COOLABAH_LAB, _coolabah,
        pooled=False,
    ),
)  # fmt: skip
