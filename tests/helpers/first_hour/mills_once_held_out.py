"""Two invented mills, held out until they had been judged once.

They have been looked at since, and count among the others.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from first_hour.books import Book, long_book, sheet_a_month
from first_hour.spec import Content, MillSpec, Written, lab_lines, tag_lines
from first_hour.tables import no_exports
from first_hour.tag_files import Style, file_a_tag, pairs_text, tag_list

AROEIRA_TAGS = tag_lines("""
CldMisto_Vz      | mj_flow    | L/s    | exception
CldMisto_Tmp     | mj_temp    | °C     | exception
CldMisto_pH      | mj_ph      | pH     | exception
CldMistoBrx      | mj_brix    | °Bx    | exception
CanaMoida_th     | cane       | t/h    | exception
AguaEmbeb_Vz     | imbibition | L/s    | exception
Moenda_RPM_T1    | x:mill_rpm | rpm    | exception
Moenda_RPM_T5    | x:mill_rpm | rpm    | exception
BbaCldMisto_Hz   | x:pump_hz  | Hz     | exception
AqPrim_TmpSaida  | ph_temp    | °C     | exception
LteCal_Vz        | lime       | L/min  | exception
LteCal_Dens      | x:milk_baume | °Be  | exception
CldCaleado_pH1   | lj_ph      | pH     | exception
CldCaleado_pH2   | 2:lj_ph    | pH     | exception
CldCaleado_pH_SP | sp:lj_ph   | pH     | exception
TqCaleacao_Nv    | lt_level   | %      | exception
AqSec_TmpSaida   | sh_temp    | °C     | exception
AqSec_TmpSaida_SP | sp:sh_temp | °C    | exception
AqSec_PrsVapor   | sh_steam   | kPa(g) | exception
BalaoFlash_Tmp   | ft_temp    | °C     | exception
Decant_VzEntr    | st_flow    | L/s    | exception
Floculnte_Vz     | floc       | L/h    | exception
Decant_NvLodo    | mud_level  | %      | exception
Decant_VzLodo    | mud_flow   | L/s    | exception
Decant_TmpLodo   | mud_temp   | °C     | exception
Decant_Tmp       | st_temp    | °C     | exception
CldClarif_pH     | cj_ph      | pH     | exception
CldClarif_Turb   | cj_turb    | NTU    | exception
TqCldClarif_Nv   | ct_level   | %      | exception
TqCldClarif_Tmp  | ct_temp    | °C     | exception
CldClarif_VzEvap | ct_flow    | L/s    | exception
AqCldClarif_TmpSaida | ch_temp | °C    | exception
PreEvp1_Tmp      | ev_temp    | °C     | exception
PreEvp1_BrxSaida | ev_brix    | °Bx    | exception
Efeito2_Tmp      | x:second_degc | °C  | exception
Filtrado_Vz      | filtrate   | L/s    | exception
Cald1_PrsVapor   | x:boiler_kgf | kgf/cm² | exception
TqXarope_Nv      | x:syrup_level | %   | exception
""")
AROEIRA_LAB = lab_lines("""
CM      | MJ | pH              | ph     | pH
CM      | MJ | Bx              | brix   | %
CM      | MJ | Pol             | pol    | %
CM      | MJ | AR % Sól.       | rs     | % | solids | 8
CM      | MJ | Lático (mg/kg)  | lactic | mg/kg | juice | 12
CM      | MJ | P2O5 (ppm)      | phosphate | ppm | juice | 12
CM (comp. do dia) | MJ | Bx    | brix   | % | juice | 24
CM (comp. do dia) | MJ | Pol   | pol    | % | juice | 24
CM (comp. do dia) | MJ | Pza   | purity | % | juice | 24
CCal    | LJ | pH              | ph     | pH
CCal    | LJ | AR % Sól.       | rs     | % | solids | 8
CCal    | LJ | Lático (mg/kg)  | lactic | mg/kg | juice | 12
CClar   | CJ | pH              | ph     | pH
CClar   | CJ | Bx              | brix   | %
CClar   | CJ | Pol             | pol    | %
CClar   | CJ | Pza             | purity | %
CClar   | CJ | AR % Sól.       | rs     | % | solids | 8
CClar   | CJ | Cor ICUMSA      | colour | UI | juice | 8
CClar   | CJ | Turb            | turbidity | NTU
Xarope  | SY | Bx              | brix   | %
Xarope  | SY | Pza             | purity | %
Filtrado | FI | Bx             | brix   | % | juice | 8
Lodo    | MU | Pol             | pol    | % | juice | 8
Torta   | CA | Pol             | pol    | % | juice | 8
""")


def _aroeira(content: Content, folder: Path) -> list[Written]:
    style = Style("\t", comma=True, moment="%d/%m/%Y %H:%M:%S", good="Normal", bad="Falha",
                  utc=True, title=("Horário: UTC",))  # fmt: skip
    headings = ("Data e hora", "Leitura{unit}", "Situação")
    files = file_a_tag(content, folder, "{tag}.txt", headings, style)
    book = Book(("Data/Hora",), "Amostra", ("Analista", "Turno", "Método"), ("Lima", "Prado"),
                ("pontual", "composta"), "%d/%m/%Y %H:%M",
                title=("Usina Aroeira Branca - laboratório",))  # fmt: skip
    files += sheet_a_month(content, folder / "lab_diario.xlsx", book)
    words = "Um arquivo por sinal. Horas em UTC nos sinais; o laboratório anota a hora do relógio."
    return files + [Written(p, None) for p in no_exports(folder, "observacoes", words)]


KESTREL_TAGS = tag_lines("""
N2037.A1 | mj_flow    | ft3/min | lines | Mixed juice magflow, scale discharge
N2037.A2 | mj_temp    | °F    | lines | Mixed juice temp
N2037.B1 | mj_ph      | pH    | lines | Mixed juice pH
N2036.A1 | cane       | t/h   | lines | Cane rate, belt weigher
N2036.A4 | imbibition | ft3/min | lines | Maceration water, final mill
N2036.C1 | x:mill_rpm | rpm   | lines | No. 3 mill roller speed
N2036.C2 | x:pump_a   | A     | lines | Mixed juice pump current
N2038.A1 | ph_temp    | °F    | lines | Raw juice heater outlet
N2040.A1 | lime       | L/h   | exception | Lime slurry dose
N2040.A2 | lj_ph      | pH    | lines | Limed juice pH
N2040.A3 | 2:lj_ph    | pH    | lines | Limed juice pH standby probe
N2040.A4 | sp:lj_ph   | pH    | exception | Limed juice pH target
N2040.A5 | x:valve    | %     | lines | Lime slurry valve position
N2040.B1 | lt_level   | m     | lines | Lime reaction tank level (6 m full)
N2040.B2 | x:milk_level | %   | lines | Lime slurry tank level
N2041.A1 | sh_temp    | °F    | lines | Limed juice heaters outlet
N2041.A2 | sp:sh_temp | °F    | exception | Limed juice heaters outlet target
N2041.A3 | sh_steam   | psig  | lines | Limed juice heaters vapour pressure
N2042.A1 | ft_temp    | °F    | lines | Flash vessel
N2043.A1 | st_flow    | ft3/min | lines | Subsider feed
N2043.A2 | floc       | L/h   | exception | Flocculant dose
N2043.A3 | mud_level  | %     | lines | Subsider mud blanket
N2043.A4 | mud_flow   | gpm   | lines | Subsider mud draw
N2043.A5 | st_temp    | °F    | lines | Subsider body temp
N2043.B1 | cj_ph      | pH    | lines | Clear juice pH, subsider overflow
N2043.B2 | 2:cj_ph    | pH    | lines | Clear juice pH, second probe
N2043.B3 | cj_cond    | uS/cm | lines | Clear juice conductivity
N2044.A1 | ct_level   | %     | lines | Clear juice tank
N2044.A2 | ct_flow    | ft3/min | lines | Clear juice pumped to evaporators
N2045.A1 | ch_temp    | °F    | lines | Clear juice heater outlet
N2046.A1 | ev_temp    | °F    | lines | No. 1 pot calandria juice temp
N2046.A2 | ev_level   | %     | lines | No. 1 pot level
N2046.B1 | x:second_degc | °C | lines | No. 2 pot juice temp
N2048.A1 | filtrate   | gpm   | lines | Rotary filter juice returned to limers
N2048.A2 | x:vacuum_kpa | kPa g | lines | Rotary filter vacuum
N2060.A1 | x:boiler_psi | psig | lines | Boiler header steam
N2060.A2 | x:condensate_us | uS/cm | lines | Boiler feed conductivity
N2061.A1 | x:cane_t   | t     | exception | Cane tally since start of crush
""")
KESTREL_LAB = lab_lines("""
Mixed juice (MJ)    | MJ | pH @ 25C     | ph     | pH
Mixed juice (MJ)    | MJ | Refr. Brix   | brix   | %
Mixed juice (MJ)    | MJ | Pol          | pol    | %
Mixed juice (MJ)    | MJ | RS/Pol       | rs     | % | pol | 8
Mixed juice (MJ)    | MJ | Dextran      | dextran | mg/kg | juice | 12
Mixed juice - day bottle | MJ | Refr. Brix | brix | % | juice | 24
Mixed juice - day bottle | MJ | Pol      | pol    | % | juice | 24
Limed juice (LJ)    | LJ | pH @ 25C     | ph     | pH
Limed juice (LJ)    | LJ | RS/Pol       | rs     | % | pol | 8
Clear juice (CJ)    | CJ | pH @ 25C     | ph     | pH
Clear juice (CJ)    | CJ | Refr. Brix   | brix   | %
Clear juice (CJ)    | CJ | Pol          | pol    | %
Clear juice (CJ)    | CJ | RS/Pol       | rs     | % | pol | 8
Clear juice (CJ)    | CJ | Turbidity    | turbidity | NTU
Clear juice (CJ)    | CJ | Colour       | colour | IU | juice | 8
Clear juice (CJ)    | CJ | Phosphate    | phosphate | mg/kg | juice | 12
Syrup               | SY | Refr. Brix   | brix   | %
Syrup               | SY | pH @ 25C     | ph     | pH
Filtrate            | FI | pH @ 25C     | ph     | pH | juice | 8
Mud                 | MU | Pol          | pol    | % | juice | 8
Cake                | CA | Pol          | pol    | % | juice | 8
""")


def _kestrel(content: Content, folder: Path) -> list[Written]:
    style = Style(moment="%d-%b-%y %H:%M:%S")
    half = len(content.spec.tags) // 2
    first, second = content.spec.tags[:half], content.spec.tags[half:]
    files = pairs_text(content, folder / "dump_1.csv", "When", style, first)
    files += pairs_text(content, folder / "dump_2.csv", "When", style, second)
    headings = ("Signal", "What it is", "EU", "No.")
    files.append(tag_list(content.spec.tags, folder / "signal_register.xlsx", headings,
                          "Signal register, juice end"))  # fmt: skip
    book = Book(("Taken",), analysts=("Ola", "Bert", "Wim"), moment="%d-%b-%y %H:%M")
    lab = [("Result", "told"), ("Test", "heading"), ("Taken", "moment"), ("Stream", "point"),
           ("Units", "unit"), ("By", "analyst"), ("Type", "method")]  # fmt: skip
    files += long_book(content, folder / "juice_lab.xlsx", lab, book)
    words = "Signals are numbered by loop drawing. The standby probe is swapped in at cleanings."
    return files + [Written(p, None) for p in no_exports(folder, "covering_note", words)]


SPECS = (
    MillSpec(
        11, "Aroeira Branca", "pt", "America/Campo_Grande", 911,
        datetime(2025, 6, 29, 4, tzinfo=UTC), AROEIRA_TAGS, AROEIRA_LAB, _aroeira,
        with_events=True, repeats=True,
    ),
    MillSpec(
        12, "Kestrel Flats", "en", "Australia/Brisbane", 912,
        datetime(2025, 8, 3, 14, tzinfo=UTC), KESTREL_TAGS, KESTREL_LAB, _kestrel,
        with_events=True, repeats=True,
    ),
)  # fmt: skip
