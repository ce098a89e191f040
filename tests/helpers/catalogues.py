"""Messages of the sources, and the catalogues brought up to date with them.

Run it after a change of words: ``python tests/helpers/catalogues.py``. New messages stand in the
catalogues without words then, and the gate fails until somebody has found them.
"""

import ast
import re
import sys
from collections import defaultdict
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from pipeline.tongue.stored import sentences
from pipeline.tongue.template import messages

ROOT = Path(__file__).parents[2]
CATALOGUES = ROOT / "pipeline" / "tongue" / "catalogues"
LANGUAGES = {"es": "es", "pt": "pt_BR", "fr": "fr"}
#: The same file for the same words, whenever it is written.
_WHEN = datetime(2026, 1, 1, tzinfo=UTC)
_PLACE = re.compile(r"\{\w+\}")
_LETTER = re.compile(r"[^\W\d_]")
#: What writes sentences in English into lake and store.
_SEARCH = (
    "models/cause",
    "models/find",
    "models/verdicts",
    "features/flow/settling_own.py",
    "features/flow/transients.py",
    "features/signal/health.py",
    "models/amount/mill_balance.py",
    "models/replay/costs.py",
    "models/replay/ranges.py",
)
#: What is raised there is shown to people, as what cannot be answered.
_REFUSED = ("features/replay", "features/advice/setpoint.py", "models/replay/ranges.py")
#: Words of a sentence, by which it is told from a name or a key.
_PROSE = re.compile(r"[A-Za-z]{2,}[,;:.]? [A-Za-z(]|[a-z]{2,} by$|^[a-z]+ \{")
_FORMAT = re.compile(r"\{(\w*)(?::[^{}]*)?\}")
#: Single words that stand in the places of such sentences.
_WORDS = (
    "would",
    "would not",
    # Joints of a quantity and its vessel, as sentences kept by earlier searches hold them.
    "in",
    "into",
    "out of",
    "of",
    "in the mud of",
    # Sentences that earlier searches left in lakes.
    "The ordinary daily balance sees losses above {tonnes} t in {when}: it {verdict} have seen "
    "this one (by {analyte}, {counts} the station).",
    "So the laboratory can tell it neither from the usual nor from the kinetics: these samples are "
    "too few for so small a loss, and speak neither for nor against it.",
    "bad quality",
    "uncertain quality",
    "spike",
    "frozen",
    "out of range",
    "calibration",
    "no value",
    "below detection",
    "above",
    "below",
    "clear",
    "limed",
    "high",
    "low",
    "a sign",
    "{spikes} spikes",
    "mud",
    "inversion of sucrose",
    "destruction of reducing sugars",
    "temperature",
    "pH of the hot juice",
    "pH of a cooled sample",
    "juice temperature",
    # Sentences that are put together of parts.
    "{what} {low} to {high}{unit}; the published kinetics hold from {least} to {most}{unit2}",
    "{what} {low} to {high}{unit}; the destruction of reducing sugars is known from {least} to "
    "{most}{unit2}",
    "{what} {low} to {high}{unit}; the density of juice is known from {least} to {most}{unit2}",
)
#: Calls whose words are no sentence of the search.
_NO_SENTENCE = {"Column", "ValueError", "text", "number", "count", "moment", "flag"}


# The page of a drafted description is made before a mill has a language: it stays English. The
# handbook is made of sources that are English.
def extracted() -> dict[str | tuple[str, str], set[str]]:
    """Every message id of the sources, with the files that say it."""
    found: dict[str | tuple[str, str], set[str]] = defaultdict(set)
    for path in sorted((ROOT / "pipeline").rglob("*.py")):
        for message in _said(ast.parse(path.read_text("utf-8"))):
            found[message].add(path.relative_to(ROOT).as_posix())
    for path in sorted((ROOT / "pipeline").rglob("templates/*.j2")):
        if ".css" not in path.name and not {"describe", "handbook"} & set(path.parts):
            plain = path.name.endswith(".txt.j2")
            for message in messages(path.read_text("utf-8"), plain=plain):
                found[message].add(path.relative_to(ROOT).as_posix())
    for message, where in sentences_kept().items():
        found[message] |= where
    plurals = {message[0] for message in found if isinstance(message, tuple)}
    return {m: where for m, where in found.items() if needs_words(m) and m not in plurals}


#: Messages without a word whose places stand in another order elsewhere: "juice pH", "pH de jugo".
_ORDERED = {"{stream} {said}"}


def needs_words(message: str | tuple[str, str]) -> bool:
    """Whether a message holds words: one that only puts values in a row is alike everywhere."""
    text = message if isinstance(message, str) else message[0]
    return text in _ORDERED or bool(_LETTER.search(_PLACE.sub("", text)))


def _said(tree: ast.AST):
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            texts = [a.value for a in node.args if isinstance(a, ast.Constant)]
            if node.func.id == "said" and texts:
                yield texts[0]
            if node.func.id == "counted" and len(texts) > 1:
                yield tuple(t for t in texts if isinstance(t, str))[:2]


def sentences_kept() -> dict[str, set[str]]:
    """Sentences of the search, by their literals in its sources."""
    found: dict[str, set[str]] = defaultdict(set)
    for name in _SEARCH:
        paths = [ROOT / name] if name.endswith(".py") else sorted((ROOT / name).rglob("*.py"))
        for path in paths:
            for text in _literals(ast.parse(path.read_text("utf-8"))):
                for sentence in sentences(text):
                    if _PROSE.search(sentence):
                        for told in _both_ways(sentence):
                            found[told].add(path.relative_to(ROOT).as_posix())
    for name in _REFUSED:
        paths = [ROOT / name] if name.endswith(".py") else sorted((ROOT / name).rglob("*.py"))
        for path in paths:
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call):
                    for text in _literals(ast.Tuple(node.exc.args)):
                        found[text].add(path.relative_to(ROOT).as_posix())
    for word in _WORDS:
        found[word].add("models/cause")
    return found


def _both_ways(sentence: str) -> list[str]:
    """A sentence that says how far above something is may have to say how far below."""
    found = [sentence]
    for side, other in (("above", "below"), ("below", "above")):
        if sentence.endswith(" by") and f" {side} " in sentence:
            found.append(sentence.replace(f" {side} ", f" {other} ", 1))
    return found


def _literals(node: ast.AST):
    """Texts of a source, with places for what is filled in; no docstring and no error."""
    if isinstance(node, ast.Raise | ast.Expr) and not isinstance(
        getattr(node, "value", None), ast.Yield | ast.Call
    ):
        return
    if isinstance(node, ast.Call) and _called(node.func) in _NO_SENTENCE:
        return
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield _named_places(node.value)
        return
    if isinstance(node, ast.JoinedStr):
        yield _named_places("".join(_piece(part) for part in node.values))
        for part in node.values:
            if isinstance(part, ast.FormattedValue):
                yield from _literals(part.value)
        return
    for child in ast.iter_child_nodes(node):
        yield from _literals(child)


def _called(function: ast.expr) -> str:
    return function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")


def _piece(part: ast.expr) -> str:
    if isinstance(part, ast.Constant):
        return part.value
    names = re.findall(r"[A-Za-z]\w*", ast.unparse(part.value))
    return f"{{{names[-1] if names else 'value'}}}"


def _named_places(text: str) -> str:
    """Give every place of a message a name of its own."""
    taken: dict[str, int] = defaultdict(int)

    def named(place: re.Match[str]) -> str:
        name = place[1] or "value"
        taken[name] += 1
        return f"{{{name}{taken[name] if taken[name] > 1 else ''}}}"

    return _FORMAT.sub(named, text)


def updated(language: str) -> Catalog:
    """Give a catalogue with the messages of now, keeping the words it has."""
    path = CATALOGUES / f"{language}.po"
    old = read_po(path.open("rb"), locale=LANGUAGES[language]) if path.exists() else Catalog()
    new = Catalog(
        locale=LANGUAGES[language],
        header_comment=f"# Words of lostpol, {language}: by tests/helpers/catalogues.py.",
        project="lostpol",
        version="0.1.0",
        creation_date=_WHEN,
        revision_date=_WHEN,
        last_translator="lostpol",
        language_team="lostpol",
        charset="utf-8",
        fuzzy=False,
    )
    for message, where in sorted(
        extracted().items(),
        key=lambda pair: (min(pair[1]), pair[0] if isinstance(pair[0], str) else pair[0][0]),
    ):
        key = message if isinstance(message, str) else message[0]
        held = old.get(key)
        words = held.string if held is not None else ("" if isinstance(message, str) else ("", ""))
        if isinstance(message, tuple):
            words = _forms(words, new.num_plurals)
        new.add(message, words, locations=[(name, None) for name in sorted(where)])
    return new


def _forms(words: str | tuple[str, ...], number: int) -> tuple[str, ...]:
    """As many forms as the language counts by; the last that is known stands for the rest."""
    known = [form for form in ((words,) if isinstance(words, str) else words) if form] or [""]
    return tuple((known + known[-1:] * number)[:number])


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
