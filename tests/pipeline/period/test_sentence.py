"""How the first sentence of a period says what moved."""

from types import SimpleNamespace

import pytest

from pipeline.period.sentence import _change


def moved(usual, during):
    """A flow that went from its usual to something else."""
    signal = SimpleNamespace(quantity="flow", place="settler", unit="m3/h")
    change = SimpleNamespace(usual=usual, during=during, change=during - usual)
    return SimpleNamespace(signal=signal, departure=change)


@pytest.mark.parametrize(
    ("usual", "during", "told"),
    [
        (268.8, 1.3, "fell by 99 %, from 268.8 to 1.3"),  # 99.5 % would be printed as all of it
        (268.8, 0.0, "fell by 100 %, from 268.8 to 0.0"),
        (100.0, 201.0, "rose by 101 %, from 100.0 to 201.0"),
        (100.0, 75.0, "fell by 25 %, from 100.0 to 75.0"),
    ],
)
def test_of_a_fall_by_all_of_it_nothing_is_left(monkeypatch, usual, during, told):
    monkeypatch.setattr("pipeline.period.sentence.unit_of", lambda _signal: ("m3/h", 1))
    assert str(_change(moved(usual, during))).startswith(told)
