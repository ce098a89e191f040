"""What single words and headings of quality mean, in five languages.

Only words that mean one thing wherever they stand. ``B`` alone is ``bad`` in one language and
``bueno`` in another; a bare ``1`` is good under ``valid`` and bad under ``error``: such words get
their meaning from the heading or from a person.
"""

from __future__ import annotations

import re
from functools import lru_cache
from typing import Final, Literal

from pipeline.cells.zone_words import folded

Meaning = Literal["good", "uncertain", "bad"]


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_GOOD: Final = _words(
    "good ok okay valid gut gultig bueno buena valido valida correcto correcta boa bom bon "
    "bonne valide normal"
)
_UNCERTAIN: Final = _words(
    "uncertain doubtful questionable suspect stale held dudoso dudosa incierto incierta "
    "duvidoso duvidosa incerto incerta douteux douteuse incertain incertaine unsicher "
    "fraglich zweifelhaft"
)
_BAD: Final = _words(
    "bad nok invalid faulty failed failure error fault malo mala invalido invalida ruim mau "
    "mauvais mauvaise invalide schlecht ungultig fehlerhaft fehler defekt gestort falla falha "
    "erro erreur defaut"
)
#: Words that say a reading could not be taken, wherever they stand in a phrase (common practice).
_NO_READING: Final = re.compile(
    r"\btime-? ?out\b|\bno data\b|\bnot connected\b|\bdisconnected\b|\boff-?line\b"
    r"|\bcomm\w* (?:fail|error|loss)|\bout of service\b|\b(?:sensor|device|config\w*) failure\b"
    r"|\bsin datos?\b|\bsem dados?\b|\bkeine daten\b|\bpas de donnees?\b|\bbad input\b"
)
_NOT: Final = _words("not no non nao nicht pas")
#: Whole columns called so hold quality.
_OF_QUALITY: Final = _words(
    "quality qual qlty qty_code quality_code calidad qualidade qualite qualitat status state "
    "estado statut etat zustand situacao validity validez validade validite gultigkeit "
    "confidence confianza confianca confiance flag flags qc qa q statuscode"
)
#: A set flag under these says that a reading is good, or bad.
_OF_GOOD: Final = _words("good valid ok bueno valido valida bom boa bon valide gut gultig reliable")
_OF_BAD: Final = _words(
    "bad invalid error err fault faulty fail failed failure questionable suspect doubtful "
    "malo mala invalido invalida ruim mauvais invalide schlecht ungultig fehler erro erreur "
    "defekt substituted"
)
_SMALL_WORDS: Final = _words(
    "is of value reading data code flag the word bit del da do de la le der des valor wert "
    "valeur medida messwert mesure tag pv st"
)
#: Columns called so hold remarks, in which "ok" says little.
_REMARKS: Final = _words(
    "remark remarks comment comments note notes memo observation observations observacion "
    "observaciones comentario comentarios observacao observacoes bemerkung bemerkungen kommentar "
    "remarque remarques commentaire commentaires description"
)
_SET: Final = _words("1 true yes y t si sim oui ja")
_UNSET: Final = _words("0 false no n f nao non nein")


@lru_cache(maxsize=8192)
def word_meaning(text: str) -> Meaning | None:
    """What one quality says by itself; None for a word that needs its column or a person."""
    plain = folded(text.strip())
    if len(plain) > 80:
        return None
    # The names of status codes begin with their severity: GoodClamped, BadNoCommunication.
    if named := re.fullmatch(r"(good|uncertain|bad)(?:[A-Z_. ].*)?", _uncapped(text)):
        return named[1]  # type: ignore[return-value]
    numbered = re.fullmatch(r"(?:0x[0-9a-f]+|\d+)\s*[-:(\[ ]\s*(\D.*?)\s*[\])]?", plain)
    return _phrase_meaning(numbered[1] if numbered else plain)


def _phrase_meaning(plain: str) -> Meaning | None:
    """What a word, or a word with a remark behind it, says."""
    words = re.findall(r"[a-z]+", plain)
    if words and words[0] in _NOT and len(words) == 2:
        return "bad" if words[1] in _GOOD else None
    if _NO_READING.search(plain.replace("i/o", "io")):
        return "bad"
    ends = re.fullmatch(r"([a-z]+)(?:\s*[-,;:(\[/].*)?", plain)
    meanings: tuple[tuple[Meaning, frozenset[str]], ...] = (
        ("good", _GOOD),
        ("uncertain", _UNCERTAIN),
        ("bad", _BAD),
    )
    return next((m for m, known in meanings if ends is not None and ends[1] in known), None)


def _uncapped(text: str) -> str:
    text = text.strip()
    return text[:1].lower() + text[1:] if text[1:2].islower() else text


def flag(text: str) -> bool | None:
    """Whether a flag is set; None for a text that is no flag."""
    plain = folded(text.strip())
    return True if plain in _SET else (False if plain in _UNSET else None)


@lru_cache(maxsize=8192)
def heading_says(heading: str) -> Literal["quality", "good", "bad"] | None:
    """What a column is by its heading: of quality, or a flag of good or of bad readings.

    None for a heading that says nothing of quality.
    """
    words = heading_words(heading)
    told = [word for word in words if word not in _SMALL_WORDS] or words
    if "not" in told or len(told) != 1:
        return "quality" if told and all(word in _OF_QUALITY for word in told) else None
    if told[0] in _OF_QUALITY:
        return "quality"
    return "good" if told[0] in _OF_GOOD else ("bad" if told[0] in _OF_BAD else None)


def is_of_remarks(heading: str) -> bool:
    """Tell whether a column holds remarks by its heading."""
    return not _REMARKS.isdisjoint(heading_words(heading))


def heading_words(heading: str) -> list[str]:
    """Words of a heading, ``IsValid`` being two."""
    parted = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", heading[:80])
    return re.findall(r"[a-z]+", folded(parted.strip()))
