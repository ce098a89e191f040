"""A reader's tongue: catalogue, numbers, dates and units, in which pages and lists are said.

Numbers are rounded where they are made; a tongue only parts their digits as its country does. Where
a reader wants other units, the value is turned into them before it is rounded.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING, Any, Final

from pipeline.base import ConfigError
from pipeline.tongue.grammar import fitted, met, signed
from pipeline.tongue.units import Units, converted
from pipeline.words import Amount, Day, Edited, Figure, Measured, Parts, Phrase, Said, Stored, said

if TYPE_CHECKING:
    from jinja2 import BaseLoader

    from pipeline.tongue.catalogue import Catalogue

#: Languages with a catalogue, by the names that people give them; English needs none.
LANGUAGES: Final[Mapping[str, str]] = {
    "en": "English",
    "es": "español",
    "pt": "português (Brasil)",
    "fr": "français",
}
_CHART: Final[Mapping[str, str | Mapping[str, Any]]] = {
    "es": "es-ES",
    "fr": "fr-FR",
    # As the library has it, but for names of months and days, which Portuguese writes small.
    "pt": {
        "dateTime": "%A, %e de %B de %Y. %X",
        "date": "%d/%m/%Y",
        "time": "%H:%M:%S",
        "periods": ["AM", "PM"],
        "days": ["domingo", "segunda", "terça", "quarta", "quinta", "sexta", "sábado"],
        "shortDays": ["dom.", "seg.", "ter.", "qua.", "qui.", "sex.", "sáb."],
        "months": [
            *("janeiro", "fevereiro", "março", "abril", "maio", "junho"),
            *("julho", "agosto", "setembro", "outubro", "novembro", "dezembro"),
        ],
        "shortMonths": [
            *("jan.", "fev.", "mar.", "abr.", "maio", "jun."),
            *("jul.", "ago.", "set.", "out.", "nov.", "dez."),
        ],
    },
}


@dataclass(frozen=True)
class Tongue:
    """How texts are said to one reader.

    Attributes
    ----------
    language : str
        Two letters, as in the ``lang`` of a page.
    tag : str
        Language with country, such as ``es-GT``: its way to write numbers and dates.
    units : Units
        What temperatures and masses are told in.
    """

    language: str = "en"
    tag: str = "en"
    units: Units = field(default_factory=Units)

    @property
    def plain(self) -> bool:
        """Whether texts stay as they are: English in the units they were made in."""
        return self.language == "en" and self.units == Units()

    def __call__(self, text: object) -> Any:  # noqa: ANN401 - what is no text of ours stays
        """Say a text; anything but text that was made here is given back as it is."""
        if not isinstance(text, Said) or self.plain:
            return text
        return _BY_KIND[type(text.made)](self, text, text.made)

    def loader(self, of_english: BaseLoader) -> BaseLoader:
        """Load templates in this tongue, from where they lie in English."""
        if self.language == "en":
            return of_english
        from pipeline.tongue.loader import in_tongue  # noqa: PLC0415 - Jinja is slow to load

        return in_tongue(of_english, self.language, self.catalogue.words)

    @property
    def chart_locales(self) -> dict[str, Any]:
        """How charts write numbers and times, as their library wants it."""
        if self.language == "en":
            return {}
        numbers = self.catalogue.chart_numbers
        return {"format_locale": numbers, "time_format_locale": _CHART[self.language]}

    @property
    def catalogue(self) -> Catalogue:
        """The catalogue of this language."""
        from pipeline.tongue.catalogue import catalogue_of  # noqa: PLC0415 - Babel is slow to load

        return catalogue_of(self.language, self.tag)

    def met(self, value: object, before: str) -> Any:  # noqa: ANN401 - markup stays markup
        """Say a value behind a preposition, which takes in its article: a filter of templates."""
        told = self(value)
        told = told if isinstance(told, str) else str(told)
        return type(told)(met(self.language, before, told, ours=isinstance(value, Said)))

    # -- kinds of text ---------------------------------------------------------------------------

    def _phrase(self, _text: Said, made: Phrase) -> str:
        words, values = made.message, dict(made.values)
        if made.many:
            words = made.message if made.number == 1 else made.many
        if self.language != "en":
            words = self.catalogue.words(made.message, made.many, made.number)
        words = self.units.inside(made.message, words, values)
        return self._filled(words, values)

    def _filled(self, words: str, values: Mapping[str, object]) -> str:
        told = {name: str(self(value)) for name, value in values.items()}
        ours = frozenset(name for name, value in values.items() if isinstance(value, Said))
        return fitted(self.language, words, told, ours)

    def _figure(self, text: Said, _made: Figure) -> str:
        return self._digits(str(text))

    def _digits(self, digits: str) -> str:
        return digits if self.language == "en" else self.catalogue.digits(digits)

    def _parts(self, _text: Said, made: Parts) -> str:
        between = signed(self.language, str(self(made.between)))
        text = between.join(str(self(part)) for part in made.texts)
        first = getattr(made.texts[0], "made", None) if made.texts else None
        # A sentence begins with a capital, but nobody writes PH.
        raised = isinstance(first, Edited) and first.method == "upper"
        return f"p{text[1:]}" if raised and text.startswith("PH ") else text

    def _edited(self, _text: Said, made: Edited) -> str:
        arguments = [self(argument) for argument in made.arguments]
        text = str(self(made.text))
        result = getattr(text, made.method)(*arguments)
        if made.method == "removesuffix" and result == text:
            # A unit may stand behind a space at which no line ends.
            result = text.removesuffix(str(arguments[0]).replace(" ", "\u00a0"))
        if made.part is None:
            return str(result)
        # What was cut off at a sign may keep the space that its language puts before the sign.
        return str(result[made.part]).rstrip("\u00a0") if made.part < len(result) else ""

    def _day(self, text: Said, made: Day) -> str:
        if self.language == "en":
            return str(text)
        return self.catalogue.day(made.day, with_year=made.with_year)

    def _measured(self, _text: Said, made: Measured) -> str:
        values, unit = converted((made.value, made.low, made.high), made.unit, self.units)
        return str(self(made.text if unit == made.unit else made.write(*values, unit)))

    def _amount(self, text: Said, made: Amount) -> str:
        if self.language == "en":
            return str(text)
        return self.catalogue.amount(made.currency, str(self(made.sum)))

    def _stored(self, text: Said, made: Stored) -> str:
        """Say what a search wrote in English, as far as its sentence is known."""
        form = made.form or str(text)
        words = form if self.language == "en" else self.catalogue.stored(form)
        return self._filled(words, made.values)


_BY_KIND: Final[Mapping[type, Callable[[Tongue, Said, Any], str]]] = {
    Phrase: Tongue._phrase,
    Figure: Tongue._figure,
    Parts: Tongue._parts,
    Edited: Tongue._edited,
    Day: Tongue._day,
    Measured: Tongue._measured,
    Stored: Tongue._stored,
    Amount: Tongue._amount,
}

ENGLISH: Final = Tongue()


@cache
def tongue_of(tag: str = "en", units: Units = Units()) -> Tongue:  # noqa: B008 - frozen
    """Give the tongue of a language tag.

    Parameters
    ----------
    tag : str
        ``en``, ``es``, ``pt`` or ``fr``, with or without a country: ``es-GT``.
    units : Units

    Raises
    ------
    ConfigError
        No catalogue for it.
    """
    language, _, country = tag.replace("_", "-").partition("-")
    language = language.lower()
    if language not in LANGUAGES or not (country == "" or re.fullmatch(r"[A-Za-z]{2}", country)):
        raise ConfigError(
            said("There are no words for the language {tag}.", tag=repr(tag)),
            "language",
            said(
                "Name one of {languages}, with or without a country: es-GT.",
                languages=", ".join(LANGUAGES),
            ),
        )
    return Tongue(language, f"{language}-{country.upper()}" if country else language, units)
