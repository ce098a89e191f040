"""A language's gettext catalogue, and how its country writes numbers and dates (by Babel)."""

from __future__ import annotations

from datetime import date
from functools import cache, cached_property
from importlib.resources import files
from io import BytesIO
from typing import Final

from babel import Locale
from babel.dates import format_date
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import get_decimal_symbol, get_group_symbol
from babel.support import Translations

from pipeline.tongue.grammar import signed
from pipeline.tongue.stored import Sentences

#: A catalogue without a country speaks as most mills of the language do.
_USUAL: Final = {"pt": "pt_BR"}
#: Messages that lie in the lake in English: sentences of the search.
_STORED: Final = ("models/", "features/", "pipeline/words/wording.py")
_NARROW_SPACE: Final = "\u202f"
_SPACE: Final = "\u00a0"


@cache
def read_catalogue(language: str) -> Catalog:
    """Read the catalogue of a language as it lies in the package."""
    path = files("pipeline.tongue").joinpath("catalogues", f"{language}.po")
    with path.open("rb") as file:
        return read_po(file, locale=_USUAL.get(language, language))


class Catalogue:
    """Words of a language, and numbers and dates as a country writes them."""

    def __init__(self, language: str, tag: str) -> None:
        name = _USUAL.get(tag, tag).replace("-", "_")
        self._locale = Locale.parse(name)
        self._language = language
        compiled = BytesIO()
        write_mo(compiled, read_catalogue(language))
        compiled.seek(0)
        self._words = Translations(compiled)
        self._table = str.maketrans(
            {
                ".": get_decimal_symbol(self._locale),
                # The narrow space is missing in the fonts of the PDF.
                ",": get_group_symbol(self._locale).replace(_NARROW_SPACE, _SPACE),
            }
        )

    def words(self, message: str, many: str = "", number: float = 1) -> str:
        """Words for a message id; the id itself where the catalogue has none."""
        if not message:
            return message
        if many:
            return signed(self._language, str(self._words.ungettext(message, many, round(number))))
        return signed(self._language, str(self._words.ugettext(message)))

    def digits(self, number: str) -> str:
        """Part the digits of a number as the country does."""
        return number.translate(self._table)

    @property
    def chart_numbers(self) -> dict[str, object]:
        """How charts part the digits of numbers, as their library wants it."""
        return {
            "decimal": self.digits("."),
            "thousands": self.digits(","),
            "grouping": [3],
            "currency": ["", ""],
        }

    def amount(self, currency: str, sum_: str) -> str:
        """Set a currency's code before or behind a sum, as the country does.

        A line never ends between them (CLDR, spacing of currencies).
        """
        pattern = self._locale.currency_formats["standard"].pattern
        first = pattern.index("¤") < pattern.index("0")
        return _SPACE.join((currency, sum_) if first else (sum_, currency))

    def day(self, day: date, *, with_year: bool) -> str:
        """Write a date with its day of the week."""
        return format_date(day, "EEE d MMM y" if with_year else "EEE d MMM", self._locale)

    @cached_property
    def _sentences(self) -> Sentences:
        known = [
            str(m.id if isinstance(m.id, str) else m.id[0])
            for m in read_catalogue(self._language)
            if m.id and any(place.startswith(_STORED) for place, _ in m.locations)
        ]
        return Sentences(self._language, known, self.words, self.digits)

    def stored(self, text: str) -> str:
        """Say what a search wrote in English, as far as its sentences are known."""
        return self._sentences.say(text)


@cache
def catalogue_of(language: str, tag: str) -> Catalogue:
    """Give the catalogue of a language, read once."""
    return Catalogue(language, tag)
