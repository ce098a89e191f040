"""Two invented mills for the last run. Nobody tunes on them.

Nobody looks at what the drafter makes of them before that run, neither its author nor the author
of these lines; a mill that was looked at moves to the others and a new one is invented.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from first_hour.books import Book, pooled_book, sheet_a_point
from first_hour.spec import Content, MillSpec, Written, lab_lines, tag_lines
from first_hour.tables import no_exports
from first_hour.tag_files import Style, long_parquet, long_text

COROSSOL_TAGS = tag_lines("""
Moulins.CanneBroyee_Debit     | cane       | t/h   | exception
Moulins.EauImbib_Q            | imbibition | m³/h  | exception
Moulins.M1_Vit                | x:mill_rpm | tr/min | exception
Moulins.M4_Vit                | x:mill_rpm | tr/min | exception
JusMel.Debit                  | mj_flow    | m³/h  | exception
JusMel.Temper                 | mj_temp    | °C    | exception
JusMel.pH                     | mj_ph      | upH   | exception
JusMel.Pompe2_Intens          | x:pump_a   | A     | exception
JusMel.Cumul                  | x:juice_m3 | m3    | exception
Rech1.JusSortie_T             | ph_temp    | °C    | exception
Chaulage.LaitChaux_Q          | lime       | L/h   | exception
Chaulage.LaitChaux_NivCuve    | x:milk_level | %   | exception
Chaulage.LaitChaux_Vanne      | x:valve    | %     | exception
Chaulage.JusChaule_pH_A       | lj_ph      | upH   | exception
Chaulage.JusChaule_pH_B       | 2:lj_ph    | upH   | exception
Chaulage.JusChaule_pH_Csg     | sp:lj_ph   | upH   | exception
Chaulage.Cuve_Niv             | lt_level   | %     | exception
Rech2.JusSortie_T             | sh_temp    | °C    | exception
Rech2.JusSortie_T_Csg         | sp:sh_temp | °C    | exception
Rech2.Vapeur_P                | sh_steam   | bar abs | exception
Flash.Jus_T                   | ft_temp    | °C    | exception
Clarif.JusEntree_Q            | st_flow    | m³/h  | exception
Clarif.Flocul_Q               | floc       | L/h   | exception
Clarif.Cuve_T                 | st_temp    | °C    | exception
Clarif.Boues_Niv              | mud_level  | %     | exception
Clarif.Boues_Soutir_Q         | mud_flow   | m³/h  | exception
Clarif.JusClarifie_pH         | cj_ph      | upH   | exception
Clarif.JusClarifie_Conduct    | cj_cond    | mS/cm | exception
BacJC.Niv                     | ct_level   | %     | exception
BacJC.Temper                  | ct_temp    | °C    | exception
BacJC.Refoul_Q                | ct_flow    | m³/h  | exception
Rech3.JC_Sortie_T             | ch_temp    | °C    | exception
Evap.Corps1_T                 | ev_temp    | °C    | exception
Evap.Corps1_Niv               | ev_level   | %     | exception
Evap.Corps2_T                 | x:second_degc | °C | exception
Filtres.JusFiltre_Q           | filtrate   | m³/h  | exception
Filtres.Vide                  | x:vacuum_mmhg | mmHg | exception
Utilites.VapEchap_P           | x:exhaust_bar | bar g | exception
""")
COROSSOL_LAB = lab_lines("""
Jus de mélange    | MJ | pH              | ph     | pH
Jus de mélange    | MJ | Bx réfracto     | brix   | %
Jus de mélange    | MJ | Pol             | pol    | %
Jus de mélange    | MJ | SR % Bx         | rs     | % | solids | 8
Jus de mélange    | MJ | Dextranes (mg/kg) | dextran | mg/kg | juice | 12
Jus de mélange    | MJ | Ac. lactique (mg/kg) | lactic | mg/kg | juice | 12
Mélange moyen 24 h | MJ | Bx réfracto    | brix   | % | juice | 24
Mélange moyen 24 h | MJ | Pol            | pol    | % | juice | 24
Mélange moyen 24 h | MJ | Pté            | purity | % | juice | 24
Jus chaulé        | LJ | pH              | ph     | pH
Jus chaulé        | LJ | SR % Bx         | rs     | % | solids | 8
Jus clarifié      | CJ | pH              | ph     | pH
Jus clarifié      | CJ | Bx réfracto     | brix   | %
Jus clarifié      | CJ | Pol             | pol    | %
Jus clarifié      | CJ | Pté             | purity | %
Jus clarifié      | CJ | SR % Bx         | rs     | % | solids | 8
Jus clarifié      | CJ | Turb. (NTU)     | turbidity | NTU
Jus clarifié      | CJ | P2O5 (mg/kg)    | phosphate | mg/kg | juice | 12
Sirop brut        | SY | Bx réfracto     | brix   | %
Sirop brut        | SY | Pté             | purity | %
Jus de filtres    | FI | pH              | ph     | pH | juice | 8
Boues             | MU | Pol             | pol    | % | juice | 8
Gâteau            | CA | Pol             | pol    | % | juice | 8
""")


def _corossol(content: Content, folder: Path) -> list[Written]:
    style = Style("|", comma=True, moment="%d.%m.%Y %H:%M:%S", good="valide", bad="douteux",
                  title=("Archives salle de contrôle",))  # fmt: skip
    columns = [("Voie", "tag"), ("U", "unit"), ("Jour", "date"), ("Heure", "clock"),
               ("Validité", "quality"), ("Relevé", "value")]  # fmt: skip
    files = long_text(content, folder / "releves.txt", columns, style, parts=3)
    book = Book(("Date", "Heure"), moment="%d/%m/%Y %H:%M",
                title=("Sucrerie de l'Anse Corossol", "Registre du laboratoire"))  # fmt: skip
    files += sheet_a_point(content, folder / "Registre_labo.xlsx", book)
    words = "Trois fichiers de relevés, heure locale. Une feuille du registre pour chaque produit."
    return files + [Written(p, None) for p in no_exports(folder, "a_lire", words)]


JUAZEIRO_TAGS = tag_lines("""
FIT-3101A  | mj_flow    | m3/h | lines | Cx. caldo misto - vazão recalque
TIT-3102   | mj_temp    | °C   | lines | Cx. caldo misto - temperatura
AIT-3103   | mj_brix    | °Brix | lines | Cx. caldo misto - refratômetro
AIT-3104   | mj_ph      | pH   | lines | Cx. caldo misto - pH
IIT-3101   | x:pump_a   | A    | lines | Bba caldo misto - corrente
WIT-2001   | cane       | t/h  | lines | Esteira de cana - moagem horária
WQT-2001   | x:cane_t   | t    | exception | Esteira de cana - moagem acumulada
FIT-2010   | imbibition | m3/h | lines | Embebição - vazão de água
SIT-2021   | x:mill_rpm | rpm  | lines | 1º terno - rotação
SIT-2005   | x:turbine_rpm | rpm | lines | Desfibrador - rotação turbina
TIT-3201   | ph_temp    | °C   | lines | Regenerador/aquec. 1ª fase - saída caldo
FIT-3301   | lime       | L/h  | exception | Dosagem leite de cal - vazão
DIT-3302   | x:milk_baume | °Be | lines | Preparo leite de cal - densidade
AIT-3303   | lj_ph      | pH   | lines | Caldo caleado - pH
AIC-3303.SP | sp:lj_ph  | pH   | exception | Caldo caleado - pH desejado
AY-3303    | x:valve    | %    | lines | Dosagem leite de cal - saída p/ válvula
LIT-3304   | lt_level   | %    | lines | Tq. calagem - nível
TIT-3305   | lt_temp    | °C   | lines | Tq. calagem - temperatura
TIT-3401   | sh_temp    | °C   | lines | Aquec. 2ª fase - saída caldo
TIC-3401.SP | sp:sh_temp | °C  | exception | Aquec. 2ª fase - temperatura desejada
PIT-3402   | sh_steam   | kgf/cm² | lines | Aquec. 2ª fase - vapor V1
TIT-3501   | ft_temp    | °C   | lines | Balão de flasheamento - temperatura
FIT-3601   | st_flow    | m3/h | lines | Decantador - vazão de entrada
FIT-3602   | floc       | L/h  | exception | Decantador - polímero
FIC-3602.SP | sp:floc   | L/h  | exception | Decantador - polímero desejado
LIT-3603   | mud_level  | %    | lines | Decantador - nível de lodo
FIT-3604   | mud_flow   | m3/h | lines | Decantador - retirada de lodo
TIT-3605   | mud_temp   | °C   | lines | Decantador - temp. lodo
TIT-3606   | st_temp    | °C   | lines | Decantador - temp. bandeja 3
AIT-3607   | cj_ph      | pH   | lines | Caldo decantado - pH
AIT-3607B  | 2:cj_ph    | pH   | lines | Caldo decantado - pH (reserva)
AIT-3608   | cj_turb    | NTU  | lines | Caldo decantado - turbidez
LIT-3701   | ct_level   | %    | lines | Cx. caldo clarificado - nível
FIT-3702   | ct_flow    | m3/h | lines | Cx. caldo clarificado - vazão p/ evaporação
TIT-3801   | ch_temp    | °C   | lines | Aquec. caldo clarificado - saída
TIT-4101   | ev_temp    | °C   | lines | Pré 1 - temp. corpo
AIT-4102   | ev_brix    | °Brix | lines | Pré 1 - brix saída
TIT-4201   | x:second_degc | °C | lines | 2ª caixa - temp. corpo
PIT-5001   | x:boiler_kgf | kgf/cm² | lines | Caldeira 2 - vapor
""")
JUAZEIRO_LAB = lab_lines("""
C. Misto        | MJ | pH            | ph     | pH
C. Misto        | MJ | Brix % caldo  | brix   | %
C. Misto        | MJ | Pol % caldo   | pol    | %
C. Misto        | MJ | Pureza ap.    | purity | %
C. Misto        | MJ | A.R. % caldo  | rs     | % | juice | 8
C. Misto        | MJ | Dextrana (mg/kg) | dextran | mg/kg | juice | 12
C. Misto        | MJ | Fosfato (ppm) | phosphate | ppm | juice | 12
C. Misto médio dia | MJ | Brix % caldo | brix | % | juice | 24
C. Misto médio dia | MJ | Pol % caldo  | pol  | % | juice | 24
C. Misto médio dia | MJ | A.R. % caldo | rs   | % | juice | 24
C. Caleado      | LJ | pH            | ph     | pH
C. Caleado      | LJ | A.R. % caldo  | rs     | % | juice | 8
C. Decantado    | CJ | pH            | ph     | pH
C. Decantado    | CJ | Brix % caldo  | brix   | %
C. Decantado    | CJ | Pol % caldo   | pol    | %
C. Decantado    | CJ | Pureza ap.    | purity | %
C. Decantado    | CJ | A.R. % caldo  | rs     | % | juice | 8
C. Decantado    | CJ | Cor (UI)      | colour | UI | juice | 8
C. Decantado    | CJ | Turbidez (NTU) | turbidity | NTU
C. Filtrado     | FI | pH            | ph     | pH | juice | 8
C. Filtrado     | FI | Brix % caldo  | brix   | % | juice | 8
Lodo            | MU | Pol % caldo   | pol    | % | juice | 8
Xarope          | SY | pH            | ph     | pH
Xarope          | SY | Brix % caldo  | brix   | %
""")


def _juazeiro(content: Content, folder: Path) -> list[Written]:
    columns = [("instante", "clock"), ("malha", "tag"), ("servico", "about"),
               ("leitura", "value"), ("eng", "unit"), ("estado", "quality")]  # fmt: skip
    words = ("boa", "ruim")
    files = long_parquet(content, folder / "malhas_tratamento.parquet", columns, words)
    book = Book(("Coleta",), "Ponto", ("Químico", "Turno"), ("Edson", "Rute", "Vânia"),
                moment="%d/%m/%Y %H:%M", title=("Usina Juazeiro Torto", "Folha de análises"),
                )  # fmt: skip
    files += pooled_book(content, folder / "folha_analises.xlsx", book)
    note = "O parquet traz as malhas do tratamento do caldo; a folha é do laboratório."
    return files + [Written(p, None) for p in no_exports(folder, "recado", note)]


SPECS = (
    MillSpec(
        13, "Anse Corossol", "fr", "America/Guadeloupe", 921,
        datetime(2026, 3, 8, 4, tzinfo=UTC), COROSSOL_TAGS, COROSSOL_LAB, _corossol,
        with_events=True, repeats=True,
    ),
    MillSpec(
        14, "Juazeiro Torto", "pt", "America/Maceio", 922,
        datetime(2025, 10, 5, 3, tzinfo=UTC), JUAZEIRO_TAGS, JUAZEIRO_LAB, _juazeiro,
        with_events=True, repeats=True,
    ),
)  # fmt: skip
