"""Messages of the sources, and the catalogues brought up to date with them.

Run it after a change of words: ``python tests/helpers/catalogues.py``. New messages stand in the
catalogues without words then, and the gate fails until somebody has found them.
"""

import ast
import re
import sys
from collections import defaultdict
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from pipeline.tongue.template import messages

ROOT = Path(__file__).parents[2]
CATALOGUES = ROOT / "pipeline" / "tongue" / "catalogues"
LANGUAGES = {"es": "es", "pt": "pt_BR", "fr": "fr"}
_PLACE = re.compile(r"\{\w+\}")
_LETTER = re.compile(r"[^\W\d_]")
#: Sentences of the search that are kept in English: where they are made.
_SEARCH = ("models/cause", "models/find", "models/detect", "models/amount", "models/verdicts")


def extracted() -> dict[str | tuple[str, str], set[str]]:
    """Every message id of the sources, with the files that say it."""
    found: dict[str | tuple[str, str], set[str]] = defaultdict(set)
    for path in sorted((ROOT / "pipeline").rglob("*.py")):
        for message in _said(ast.parse(path.read_text("utf-8"))):
            found[message].add(path.relative_to(ROOT).as_posix())
    for path in sorted((ROOT / "pipeline").rglob("templates/*.j2")):
        if ".css" not in path.name:
            plain = path.name.endswith(".txt.j2")
            for message in messages(path.read_text("utf-8"), plain=plain):
                found[message].add(path.relative_to(ROOT).as_posix())
    for message, where in stored().items():
        found[message] |= where
    plurals = {message[0] for message in found if isinstance(message, tuple)}
    return {m: where for m, where in found.items() if needs_words(m) and m not in plurals}


def needs_words(message: str | tuple[str, str]) -> bool:
    """Whether a message holds words: one that only puts values in a row is alike everywhere."""
    text = message if isinstance(message, str) else message[0]
    return bool(_LETTER.search(_PLACE.sub("", text)))


def _said(tree: ast.AST):
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            texts = [a.value for a in node.args if isinstance(a, ast.Constant)]
            if node.func.id == "said" and texts:
                yield texts[0]
            if node.func.id == "counted" and len(texts) > 1:
                yield tuple(t for t in texts if isinstance(t, str))[:2]


def stored() -> dict[str, set[str]]:
    """Sentences of the search, by their literals in its sources."""
    found: dict[str, set[str]] = defaultdict(set)
    for folder in _SEARCH:
        for path in sorted((ROOT / folder).rglob("*.py")):
            for message in _sentences(ast.parse(path.read_text("utf-8"))):
                found[message].add(path.relative_to(ROOT).as_posix())
    return found


def _sentences(tree: ast.AST):
    return []


def updated(language: str) -> Catalog:
    """Give a catalogue with the messages of now, keeping the words it has."""
    path = CATALOGUES / f"{language}.po"
    old = read_po(path.open("rb"), locale=LANGUAGES[language]) if path.exists() else Catalog()
    new = Catalog(locale=LANGUAGES[language], project="lostpol", version="0.1.0", charset="utf-8")
    for message, where in sorted(
        extracted().items(),
        key=lambda pair: (min(pair[1]), pair[0] if isinstance(pair[0], str) else pair[0][0]),
    ):
        key = message if isinstance(message, str) else message[0]
        held = old.get(key)
        words = held.string if held is not None else ("" if isinstance(message, str) else ("", ""))
        if isinstance(message, tuple) and isinstance(words, str):
            words = (words, words)
        new.add(message, words, locations=[(name, None) for name in sorted(where)])
    return new


def main() -> None:
    """Write the catalogues anew."""
    for language in LANGUAGES:
        made = updated(language)
        with (CATALOGUES / f"{language}.po").open("wb") as file:
            write_po(file, made, width=100, omit_header=False, include_lineno=False)
        lacking = sum(1 for m in made if m.id and not m.string)
        sys.stdout.write(f"{language}: {len(made)} messages, {lacking} without words\n")


if __name__ == "__main__":
    main()
