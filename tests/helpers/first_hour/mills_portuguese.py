"""Two invented mills whose people write Portuguese."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from first_hour.books import Book, pooled_book, sheet_a_point
from first_hour.spec import Content, MillSpec, Written, lab_lines, tag_lines
from first_hour.tables import no_exports
from first_hour.tag_files import sheet_a_tag, tag_list, wide_parquet

IPE_TAGS = tag_lines("""
200FT001 | mj_flow    | m3/h | regular | Vazão de caldo misto p/ aquecedores
200TT002 | mj_temp    | °C   | regular | Temperatura caldo misto
200AT003 | mj_ph      | pH   | regular | pH caldo misto
200AT004 | mj_brix    | °Brix | regular | Brix caldo misto
200IT005 | x:pump_a   | A    | regular | Corrente bomba caldo misto B-201
100WT001 | cane       | t/h  | regular | Moagem de cana
100FT002 | imbibition | m3/h | regular | Vazão água de embebição
100ST010 | x:mill_rpm | rpm  | regular | Rotação 1o terno
100ST011 | x:mill_rpm | rpm  | regular | Rotação 6o terno
210TT001 | ph_temp    | °C   | regular | Temp. saída aquecedores primários
220FT001 | lime       | L/h  | regular | Vazão leite de cal
220AT002 | lj_ph      | pH   | regular | pH caldo dosado
220AC002 | sp:lj_ph   | pH   | regular | Setpoint pH caldo dosado
220AT003 | 2:lj_ph    | pH   | regular | pH caldo dosado (reserva)
220LT004 | lt_level   | %    | regular | Nível tanque caldo dosado
220ZT005 | x:valve    | %    | regular | Abertura válvula leite de cal
230TT001 | sh_temp    | °C   | regular | Temp. saída aquecedores secundários
230TC001 | sp:sh_temp | °C   | regular | Setpoint temp. aquecedores secundários
230PT002 | sh_steam   | kgf/cm² | regular | Pressão vapor vegetal aquec. secundários
235TT001 | ft_temp    | °C   | regular | Temp. balão flash
240FT001 | st_flow    | m3/h | regular | Vazão caldo p/ decantador
240FT002 | floc       | L/h  | regular | Vazão de polímero
240LT003 | mud_level  | %    | regular | Nível de lodo decantador
240FT004 | mud_flow   | m3/h | regular | Vazão de lodo p/ filtros
240TT005 | st_temp    | °C   | regular | Temp. decantador
240AT006 | cj_ph      | pH   | regular | pH caldo clarificado
240AT007 | cj_turb    | NTU  | regular | Turbidez caldo clarificado
250LT001 | ct_level   | %    | regular | Nível tanque caldo clarificado
250FT002 | ct_flow    | m3/h | regular | Vazão caldo clarificado p/ evaporação
260TT001 | ch_temp    | °C   | regular | Temp. saída aquecedor caldo clarificado
300TT001 | ev_temp    | °C   | regular | Temp. pré-evaporador 1
300LT002 | ev_level   | %    | regular | Nível pré-evaporador 1
300TT003 | x:second_degc | °C | regular | Temp. 2o efeito
400PT001 | x:boiler_kgf | kgf/cm² | regular | Pressão vapor caldeira
500JT001 | x:power_mw | MW   | regular | Potência gerador 1
100WQ001 | x:cane_t   | t    | regular | Cana moída acumulada
""")
IPE_LAB = lab_lines("""
Caldo misto       | MJ | pH          | ph     | pH
Caldo misto       | MJ | Brix (%)    | brix   | %
Caldo misto       | MJ | Pol (%)     | pol    | %
Caldo misto       | MJ | Pureza (%)  | purity | %
Caldo misto       | MJ | AR (%)      | rs     | % | juice | 8
Caldo misto       | MJ | Ácido lático (ppm) | lactic | ppm | juice | 12
Caldo misto       | MJ | Dextrana (ppm) | dextran | ppm | juice | 12
Caldo misto - composta 24h | MJ | Brix (%) | brix | % | juice | 24
Caldo misto - composta 24h | MJ | Pol (%)  | pol  | % | juice | 24
Caldo misto - composta 24h | MJ | AR (%)   | rs   | % | juice | 24
Caldo dosado      | LJ | pH          | ph     | pH
Caldo dosado      | LJ | AR (%)      | rs     | % | juice | 8
Caldo clarificado | CJ | pH          | ph     | pH
Caldo clarificado | CJ | Brix (%)    | brix   | %
Caldo clarificado | CJ | Pol (%)     | pol    | %
Caldo clarificado | CJ | Pureza (%)  | purity | %
Caldo clarificado | CJ | AR (%)      | rs     | % | juice | 8
Caldo clarificado | CJ | Turbidez (NTU) | turbidity | NTU
Caldo clarificado | CJ | Cor (UI)    | colour | UI | juice | 8
Xarope            | SY | Brix (%)    | brix   | %
Xarope            | SY | Pureza (%)  | purity | %
Caldo filtrado    | FI | Brix (%)    | brix   | % | juice | 8
Torta             | CA | Pol (%)     | pol    | % | juice | 8
""")


def _ipe(content: Content, folder: Path) -> list[Written]:
    book = Book(("Data", "Hora"), "Amostra", ("Analista", "Turno", "Método"),
                ("Souza", "Ribeiro", "Nakamura"), ("instantânea", "composta"),
                "%d/%m/%Y %H:%M", ";", comma=True, encoding="utf-8-sig")  # fmt: skip
    files = wide_parquet(content, folder / "pims_ipe.parquet", "data_hora")
    files.append(tag_list(content.spec.tags, folder / "lista_tags.xlsx",
                          ("Tag", "Descrição", "Unidade")))  # fmt: skip
    files += pooled_book(content, folder / "boletim_lab.csv", book)
    words = "Dados do tratamento de caldo. Horário local."
    return files + [Written(p, None) for p in no_exports(folder, "LEIA-ME", words)]


CEDRO_TAGS = tag_lines("""
Vazao Cld Misto     | mj_flow    | m³/h | exception
Temp Cld Misto      | mj_temp    | °C   | exception
pH Cld Misto        | mj_ph      | pH   | exception
Brix Cld Misto      | mj_brix    | °Bx  | exception
Moagem TCH          | cane       | t/h  | exception
Agua Embebicao      | imbibition | m³/h | exception
RPM Moenda 1        | x:mill_rpm | rpm  | exception
Temp Aquec Prim     | ph_temp    | °C   | exception
Leite Cal Vazao     | lime       | L/h  | exception
pH Cld Caleado      | lj_ph      | pH   | exception
SP pH Cld Caleado   | sp:lj_ph   | pH   | exception
Nivel Tq Caleacao   | lt_level   | %    | exception
Temp Tq Caleacao    | lt_temp    | °C   | exception
Valv Leite Cal      | x:valve    | %    | exception
Temp Aquec Sec      | sh_temp    | °C   | exception
Pres Vap Aquec Sec  | sh_steam   | bar abs | exception
Temp Balao Flash    | ft_temp    | °C   | exception
Vazao Decantador    | st_flow    | m³/h | exception
Dosag Floculante    | floc       | L/h  | exception
SP Dosag Floculante | sp:floc    | L/h  | exception
Niv Lodo Decant     | mud_level  | %    | exception
Vazao Lodo          | mud_flow   | m³/h | exception
Temp Lodo           | mud_temp   | °C   | exception
Temp Decantador     | st_temp    | °C   | exception
pHCldClarif         | cj_ph      | pH   | exception
Turbidez Cld Clarif | cj_turb    | NTU  | exception
Condut Cld Clarif   | cj_cond    | µS/cm | exception
Nivel Tq Cld Clarif | ct_level   | %    | exception
Vz Cld Clarif Evap  | ct_flow    | m³/h | exception
Temp Aquec Cld Clar | ch_temp    | °C   | exception
Temp Pre Evap       | ev_temp    | °C   | exception
Vacuo Filtro Rot    | x:vacuum_mmhg | mmHg | exception
Corrente Bba Lodo   | x:pump_a   | A    | exception
Temp Agua Resfr     | x:cooling_degc | °C | exception
""")
CEDRO_LAB = lab_lines("""
Caldo Misto        | MJ | pH            | ph     | pH
Caldo Misto        | MJ | Brix          | brix   | %
Caldo Misto        | MJ | Pol           | pol    | %
Caldo Misto        | MJ | AR % Pol      | rs     | % | pol | 8
Caldo Misto Comp.  | MJ | Pol           | pol    | % | juice | 24
Caldo Misto Comp.  | MJ | Pureza        | purity | % | juice | 24
Caldo Caleado      | LJ | pH            | ph     | pH
Caldo Caleado      | LJ | AR % Pol      | rs     | % | pol | 8
Caldo Clarificado  | CJ | pH            | ph     | pH
Caldo Clarificado  | CJ | Brix          | brix   | %
Caldo Clarificado  | CJ | Pol           | pol    | %
Caldo Clarificado  | CJ | AR % Pol      | rs     | % | pol | 8
Caldo Clarificado  | CJ | Turbidez      | turbidity | NTU
Lodo               | MU | Pol           | pol    | % | juice | 8
Lodo               | MU | pH            | ph     | pH | juice | 8
Xarope             | SY | Brix          | brix   | %
Xarope             | SY | Pol           | pol    | %
Torta de Filtro    | CA | Pol           | pol    | % | juice | 8
""")


def _cedro(content: Content, folder: Path) -> list[Written]:
    words = ("Bom", "Ruim")
    files = sheet_a_tag(content, folder / "Historico.xlsx", ("Data/Hora", "Valor", "Status"), words)
    book = Book(("Data/Hora",), moment="%d/%m/%Y %H:%M", title=("Laboratório industrial",))
    files += sheet_a_point(content, folder / "Laboratorio.xlsx", book)
    words_of_note = "Uma aba por sinal. Valores escritos só quando mudam."
    return files + [Written(p, None) for p in no_exports(folder, "leia", words_of_note)]


SPECS = (
    MillSpec(
        5, "Usina Ipê Amarelo", "pt", "America/Sao_Paulo", 415,
        datetime(2025, 8, 17, 3, tzinfo=UTC), IPE_TAGS, IPE_LAB, _ipe,
    ),
    MillSpec(
        6, "Usina Cedro Velho", "pt", "America/Cuiaba", 416, datetime(2025, 7, 6, 4, tzinfo=UTC),
        CEDRO_TAGS, CEDRO_LAB, _cedro,
    ),
)  # fmt: skip
