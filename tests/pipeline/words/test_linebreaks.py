"""A number and its unit stay on one line, and nothing else of a page changes."""

import pytest

from pipeline.words import unparted, unparted_page


@pytest.mark.parametrize(
    ("text", "held"),
    [
        # Unit symbols with a space before them, the per cent sign too (SI Brochure, 9th edition,
        # 5.4.3 and 5.4.7; memory).
        ("intervalo del 90 %: 0,09 a 0,22 t;", "intervalo del 90_%: 0,09 a 0,22_t;"),
        ("97,4 °C, 8 a 12 m/h, 8,38 L/m³.", "97,4_°C, 8 a 12_m/h, 8,38_L/m³."),
        ("1,2 %/h (± 15 min) a pH 7,09", "1,2_%/h (±_15_min) a pH_7,09"),
        ("0.34 pH; 313 mg/kg; 4.2 mS/cm; 95 m²", "0.34_pH; 313_mg/kg; 4.2_mS/cm; 95_m²"),
        ("1.005 ± 120 min", "1.005_±_120_min"),
        ("0.65 short tons", "0.65_short tons"),
        ("a rate of 245 t/h or 3 kg/h", "a rate of 245_t/h or 3_kg/h"),
        # Words that begin like a unit.
        ("3 muestras, 5 tags, 2 meses", "3 muestras, 5 tags, 2 meses"),
        ("il y en a 2 s'il faut, 4 h-h", "il y en a 2 s'il faut, 4 h-h"),
    ],
)
def test_a_number_keeps_its_unit(text, held):
    assert unparted(text, "_") == held


def test_of_a_page_only_running_text_is_changed():
    kept = (
        '<style>p { margin: 3 t }</style><script>"5 %"</script>'
        '<p title="5 %"><code>lostpol standing --hours 8 h</code></p><svg><text>5 %</text></svg>'
    )
    assert unparted_page(f"<b>5 t</b>{kept}7 % left") == f"<b>5\u00a0t</b>{kept}7\u00a0% left"
