"""The evidence of a finding: JSON text from the store, read with patience.

Evidence written by an older version, or damaged, must not cost the reader the report: what
can be read is shown, and what cannot is said.
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pipeline.base import Said, Stored, figure, joined, said, stored
from pipeline.words.causes import words_of
from pipeline.words.lessons import lesson_words
from pipeline.words.packing import unpacked
from pipeline.words.rounding import fact_value, known, quantity, unit_words
from pipeline.words.text import clean
from pipeline.words.wording import UNCALIBRATED, place_within, share_words

_FACTS_SHOWN = 4
_LAB_SHOWN = 6
_SENTENCE = 400
_PH = "pH"
_BESIDE = {"usual": said("usually"), "target": said("target")}
#: A name in a form that something stands for.
_BRACES = re.compile(r"\{(\w+)\}")
#: A sentence that ends so runs on into its number.
_RUNS_ON = (" by", " now", " for", " held", " was", " is", " within")


@dataclass(frozen=True, slots=True)
class Share:
    """One driver's part in the excess loss [%]; negative when it held the loss down."""

    name: str
    percent: int


@dataclass(frozen=True, slots=True)
class Evidence:
    """Evidence in words; ``problem`` says what could not be read, and is empty otherwise.

    ``uncalibrated`` says why nobody can tell how often chance makes such a loss, where so.
    """

    facts: tuple[str, ...] = ()
    more_facts: int = 0
    shares: tuple[Share, ...] = ()
    alternatives: tuple[str, ...] = ()
    lab: tuple[str, ...] = ()
    balance: str = ""
    uncalibrated: str = ""
    problem: str = ""


def read_evidence(text: object) -> Evidence:
    """Read the evidence column of one finding.

    Parameters
    ----------
    text : object
        JSON text of an object with the keys facts, shares, alternatives, lab, ordinary_balance
        and uncalibrated, all optional; or None.

    Returns
    -------
    Evidence
        Ready for the page, not yet HTML-escaped.
    """
    if text is None or text == "":
        return Evidence(problem=said("No evidence was stored with this finding."))
    try:
        content = json.loads(str(text))
    except (ValueError, RecursionError):
        content = None
    if not isinstance(content, dict):
        return Evidence(
            problem=said(
                "The evidence stored with this finding cannot be read. Run the detection of "
                "this period again to write it anew."
            )
        )
    facts = _lines(content.get("facts"))
    return Evidence(
        facts=facts[:_FACTS_SHOWN],
        more_facts=max(0, len(facts) - _FACTS_SHOWN),
        shares=_shares(content.get("shares")),
        alternatives=_alternatives(content.get("alternatives")),
        lab=_lines(content.get("lab"))[:_LAB_SHOWN],
        balance=stored(clean(content.get("ordinary_balance"), _SENTENCE)),
        uncalibrated=UNCALIBRATED.get(str(content.get("uncalibrated")), ""),
    )


def parsed_evidence(text: object) -> dict[str, Any]:
    """Evidence as an object; empty where it cannot be read."""
    try:
        content = json.loads(str(text))
    except (ValueError, RecursionError):
        return {}
    return content if isinstance(content, dict) else {}


def _lines(items: object) -> tuple[str, ...]:
    if not isinstance(items, list):
        return ()
    return tuple(line for line in (_line(item) for item in items) if line)


def _line(item: object) -> str:
    if isinstance(item, str):
        return stored(clean(item, _SENTENCE))
    if not isinstance(item, Mapping):
        return ""
    sentence, value = _signed(_text(item), item.get("value"))
    if not sentence.startswith("pH"):
        sentence = sentence[:1].upper() + sentence[1:]
    unit = clean(item.get("unit"), 20)
    measured = fact_value(value, unit)
    # A number the sentence already carries is not said twice.
    number = re.match(r"-?[\d.,]+", measured)
    if measured and number and number[0].lstrip("-") in sentence and "usual" not in item:
        return sentence
    runs_on = sentence.endswith(_RUNS_ON)
    if unit == _PH and "usual" in item and not runs_on and measured:
        measured = said("pH {value}", value=measured.removesuffix(f" {_PH}"))
    told = joined(
        ", ", (part for part in (_with_span(measured, item, unit), *_beside(item, unit)) if part)
    )
    joint = " " if runs_on else said(": ")
    return joined(
        joint, (part for part in (sentence.rstrip(":. ") if told else sentence, told) if part)
    )


def _text(item: Mapping[Any, Any]) -> str:
    """The subject of a fact, its places said as they are everywhere."""
    form, parts = item.get("form"), item.get("parts")
    if item.get("by") == "verdicts":
        return lesson_words(item.get("text"))
    if "said" in item:
        return unpacked(item["said"], clean(item.get("text"), _SENTENCE))
    if not isinstance(form, str) or not isinstance(parts, Mapping):
        return stored(clean(item.get("text"), _SENTENCE))
    held = {
        str(name): place_within(str(part)) if name == "place" else _part(str(name), str(part))
        for name, part in parts.items()
    }
    return stored(clean(form, _SENTENCE), **held)


def _part(name: str, part: str) -> str:
    """What stands in a form: a tag as it is, words of the search as they are known."""
    part = clean(part, _SENTENCE)
    return part if name == "tag" else stored(part)


def _with_span(measured: str, item: Mapping[Any, Any], unit: str) -> str:
    """A value with its 90 % interval, where it has one."""
    low, high = known(item.get("low")), known(item.get("high"))
    if not measured or low is None or high is None:
        return measured
    value = quantity(item.get("value"), low, high, unit)
    return said("{value}, 90 % interval)", value=value[:-1])


def _beside(item: Mapping[Any, Any], unit: str) -> list[str]:
    """What a value usually is, and should be; the unit stands with the value."""
    told = []
    for word in ("usual", "target"):
        written = fact_value(item.get(word), unit)
        if written:
            # Behind an interval the unit of the value stands too far away.
            spread = known(item.get("low")) is not None and known(item.get("high")) is not None
            bare = written if spread else written.removesuffix(unit_words(unit)).rstrip()
            told.append(said("{beside} {value}", beside=_BESIDE[word], value=bare))
    return told


def _signed(sentence: str, value: object) -> tuple[str, object]:
    """Say “below by 0.3” rather than “above by -0.3”."""
    sentence = sentence.removeprefix("and ")
    number = known(value)
    if number is None or number >= 0 or not sentence.endswith(" by"):
        return sentence, value
    for word, other in (("above", "below"), ("below", "above")):
        if f" {word} " in sentence:
            return _turned(sentence, word, other), -number
    return sentence, value


def _turned(sentence: str, word: str, other: str) -> Said:
    """The same sentence with the other side in it: a message of its own."""
    made = sentence.made if isinstance(sentence, Said) else None
    form, values = (made.form, made.values) if isinstance(made, Stored) else (str(sentence), {})
    return stored(form.replace(f" {word} ", f" {other} ", 1), **values)


def _shares(item: object) -> tuple[Share, ...]:
    if not isinstance(item, Mapping):
        return ()
    read = [(str(name), known(value)) for name, value in item.items()]
    shares = [
        Share(share_words(name), round(100 * value)) for name, value in read if value is not None
    ]
    return tuple(sorted((s for s in shares if s.percent), key=lambda s: -s.percent))


def _alternatives(items: object) -> tuple[str, ...]:
    if not isinstance(items, list):
        return ()
    phrase: list[str] = []
    for item in items:
        if isinstance(item, Mapping) and item.get("cause"):
            weight = known(item.get("weight"))
            name = words_of(str(item["cause"])).name
            phrase.append(
                name
                if weight is None
                else said(
                    "{name} ({share} % among the causes)",
                    name=name,
                    share=figure(100 * weight, ".0f"),
                )
            )
    return tuple(phrase)
