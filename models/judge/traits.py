"""Marks by what mills have in common: their manners and habits, or lactic acid results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import polars as pl

from models.judge.card import NOTABLE_T, Scorecard, pooled


def by_trait(
    cards: Sequence[Scorecard], traits: Sequence[Sequence[str]]
) -> dict[str, tuple[Scorecard, Scorecard | None]]:
    """Marks of the mills that have a trait, and of those that have not.

    Parameters
    ----------
    cards : sequence of Scorecard
        One a mill.
    traits : sequence of sequence of str
        Words for what each mill has.

    Returns
    -------
    dict of str to tuple of Scorecard, Scorecard or None
        By word, in order of the alphabet; None where every mill has it.
    """
    out: dict[str, tuple[Scorecard, Scorecard | None]] = {}
    for word in sorted({word for words in traits for word in words}):
        having = [card for card, words in zip(cards, traits, strict=True) if word in words]
        others = [card for card, words in zip(cards, traits, strict=True) if word not in words]
        out[word] = pooled(having), pooled(others) if others else None
    return out


def microbial_by_lactic(
    cards: Sequence[Mapping[str, Scorecard]], lactic: Sequence[bool]
) -> dict[bool, dict[str, Scorecard]]:
    """Marks of the microbial losses over half a tonne of every method, by mill's lactic acid.

    Parameters
    ----------
    cards : sequence of mapping of str to Scorecard
        Of each mill, by method.
    lactic : sequence of bool
        Whether the mill analyses lactic acid.

    Returns
    -------
    dict of bool to dict of str to Scorecard
        True: mills with lactic acid; kinds of mills that there are none of are left out.
    """
    large = (pl.col("cause") == "microbial") & (pl.col("planted_t") > NOTABLE_T)
    out: dict[bool, dict[str, Scorecard]] = {}
    for has in (True, False):
        mills = [mill for mill, own in zip(cards, lactic, strict=True) if own == has]
        for name in mills[0] if mills else ():
            together = pooled([mill[name] for mill in mills])
            alone = together.events_alone(together.events.filter(large))
            out.setdefault(has, {})[name] = alone
    return out
