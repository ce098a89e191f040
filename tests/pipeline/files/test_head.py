"""Headings parted into names and units."""

import pytest

from pipeline.files.head import parted, plain_name


@pytest.mark.parametrize(
    ("title", "name", "unit"),
    [
        ("Leitura [kPa(g)]", "Leitura", "kPa(g)"),
        ("LT.AI212 [pH]", "LT.AI212", "pH"),
        ("Flow (m3/h)", "Flow", "m3/h"),
        ("A [B] C", "A [B] C", ""),
    ],
)
def test_a_unit_in_brackets_may_have_brackets_of_its_own(title, name, unit):
    assert parted(title) == (name, unit)


def test_a_heading_is_looked_up_without_its_unit():
    assert plain_name("Leitura [kPa(g)]") == "leitura"
