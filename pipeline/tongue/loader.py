"""Loads templates and puts their words into another tongue before they are compiled."""

from __future__ import annotations

from typing import cast

from jinja2 import BaseLoader, Environment, FunctionLoader

from pipeline.tongue.grammar import prepositions, signed
from pipeline.tongue.template import Translate, Writing, translated


def _writing(language: str) -> Writing:
    """How a language writes what lies between words."""
    return Writing(lambda text: signed(language, text), prepositions(language))


def in_tongue(of_english: BaseLoader, language: str, translate: Translate) -> BaseLoader:
    """Wrap a loader so that what it gives is translated.

    Parameters
    ----------
    of_english : jinja2.BaseLoader
    language : str
        Goes into the ``lang`` of pages.
    translate : callable
        Gives the words for a message id.
    """

    def source(name: str) -> str:
        # These loaders need nothing of the environment.
        text = of_english.get_source(cast(Environment, None), name)[0]
        if ".css" in name:
            return text
        made = translated(text, translate, _writing(language), plain=name.endswith(".txt.j2"))
        return made.replace('<html lang="en"', f'<html lang="{language}"')

    return FunctionLoader(source)
