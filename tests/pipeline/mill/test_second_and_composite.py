"""A second instrument for one thing, sampling points that are no vessels, composite samples."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from pipeline.base import ConfigError
from pipeline.cli.check import check_mill
from pipeline.mill import load_mill

TEMPLATE = Path(__file__).resolve().parents[3] / "configs" / "template.toml"
SECOND = """
[tags."CLEAR JUICE PH B"]
quantity = "ph"
place = "settler"
port = "out"
unit = "pH"
range = [3.5, 12.0]
beside = "CLEAR JUICE PH"
"""
LAB = """
[lab."{name}"]
analyte = "{analyte}"
place = "{place}"
unit = "%"
range = [0.0, 90.0]
sd = 0.1
{more}
"""


def described(tmp_path: Path, more: str) -> Path:
    path = tmp_path / "mill.toml"
    path.write_text(TEMPLATE.read_text(encoding="utf-8") + more, encoding="utf-8")
    return path


def test_a_second_probe_is_kept_beside_the_one_that_counts(tmp_path: Path) -> None:
    station = load_mill(described(tmp_path, SECOND)).station
    first = station.signal("ph", "settler", "out")
    assert first is not None
    assert first.tag == "CLEAR JUICE PH"
    names = [s.name for s in station.signals]
    assert len(set(names)) == len(names)


@pytest.mark.parametrize(
    ("spoilt", "said"),
    [
        (SECOND.replace('beside = "CLEAR JUICE PH"', ""), "claims ph settler out"),
        (SECOND + SECOND.replace("PH B", "PH C"), "claims ph settler out"),
        (
            SECOND.replace('beside = "CLEAR JUICE PH"', 'beside = "LIMED JUICE PH"'),
            "does not count",
        ),
        (SECOND.replace('beside = "CLEAR JUICE PH"', 'beside = "NO SUCH TAG"'), "is no tag"),
    ],
)
def test_a_second_probe_that_stands_nowhere_is_a_fault(
    tmp_path: Path, spoilt: str, said: str
) -> None:
    with pytest.raises(ConfigError, match=re.escape(said)):
        load_mill(described(tmp_path, spoilt))


def test_syrup_filtrate_and_cake_are_sampling_points(tmp_path: Path) -> None:
    more = "".join(
        LAB.format(name=f"{place} pol", analyte="pol", place=place, more="")
        for place in ("syrup", "filtrate", "filter_cake")
    )
    places = {s.place for s in load_mill(described(tmp_path, more)).station.lab}
    assert places >= {"syrup", "filtrate", "filter_cake"}


def test_a_grab_and_a_composite_of_one_juice_are_two_series(tmp_path: Path) -> None:
    grab = LAB.format(name="rs", analyte="rs", place="mixed_juice", more='basis = "solids"')
    whole = LAB.format(name="rs day", analyte="rs", place="mixed_juice", more="period_h = 24")
    lab = {s.tag: s for s in load_mill(described(tmp_path, grab + whole)).station.lab}
    assert lab["rs"].basis == "solids"
    assert (lab["rs"].period_h, lab["rs day"].period_h) == (0.0, 24.0)


def test_only_reducing_sugars_have_a_basis(tmp_path: Path) -> None:
    pol = LAB.format(name="pol", analyte="pol", place="mixed_juice", more='basis = "solids"')
    with pytest.raises(ConfigError, match="pol has no basis"):
        load_mill(described(tmp_path, pol))


@pytest.mark.parametrize(("unit", "basis"), [("% on Brix", "juice"), ("% on juice", "solids")])
def test_a_unit_that_says_another_basis_is_a_fault(tmp_path: Path, unit: str, basis: str) -> None:
    rs = LAB.format(name="rs", analyte="rs", place="mixed_juice", more=f'basis = "{basis}"')
    said = "solids" if basis == "juice" else "juice"
    with pytest.raises(ConfigError, match=f'Set basis = "{said}" or correct the unit'):
        load_mill(described(tmp_path, rs.replace('"%"', f'"{unit}"')))


def test_a_unit_that_says_its_own_basis_is_none(tmp_path: Path) -> None:
    rs = LAB.format(name="rs", analyte="rs", place="mixed_juice", more='basis = "solids"')
    mill = load_mill(described(tmp_path, rs.replace('"%"', '"% on Brix"')))
    assert {s.tag: s.basis for s in mill.station.lab}["rs"] == "solids"


def test_check_tells_of_sugars_that_no_brix_can_bring_to_juice(tmp_path: Path) -> None:
    more = LAB.format(name="rs", analyte="rs", place="syrup", more='basis = "solids"')
    said = 'lab."rs" is told on solids, but no lab series is the Brix'
    mill = load_mill(described(tmp_path, more))
    assert any(said in line for line in check_mill(mill))
    brix = LAB.format(name="bx", analyte="brix", place="syrup", more="")
    mill = load_mill(described(tmp_path, more + brix))
    assert not any(said in line for line in check_mill(mill))


def test_the_one_that_counts_is_found_wherever_it_stands(tmp_path: Path) -> None:
    path = tmp_path / "mill.toml"
    path.write_text(SECOND + TEMPLATE.read_text(encoding="utf-8"), encoding="utf-8")
    station = load_mill(path).station
    assert station.signals[0].tag == "CLEAR JUICE PH B"
    first = station.signal("ph", "settler", "out")
    assert first is not None
    assert first.tag == "CLEAR JUICE PH"
