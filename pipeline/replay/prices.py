"""What a tonne of sucrose, reducing sugars and lime is worth at a mill."""

from __future__ import annotations

from typing import Final

from features.advice import Prices
from pipeline.mill import Mill

#: Shares of the price of sucrose taken where the description names no price (estimate). Reducing
#: sugars: by a rule for the purity of exhausted molasses, 33.9 - 13.4 log10(reducing sugars over
#: ash) (memory), a tonne destroyed holds about 0.6 t of sucrose back in molasses.
RS_PRICE_SHARE: Final = 0.6
LIME_PRICE_SHARE: Final = 0.3


def prices_of(mill: Mill) -> Prices:
    """Prices of a mill, those it does not name by shares of that of sucrose."""
    price, named = mill.price_per_t, mill.prices
    sugars, lime = named.reducing_sugar_per_t, named.lime_per_t
    return Prices(
        price,
        RS_PRICE_SHARE * price if sugars is None else sugars,
        LIME_PRICE_SHARE * price if lime is None else lime,
    )
