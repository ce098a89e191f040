"""Templates in another tongue: their own words found, translated and put back.

A template is written in English and stays readable. Its words lie between tags; a run of words with
what is filled in between them is one message, in which ``{{ row.mass }}`` becomes ``{mass}``. Tags
that only dress words (``b``, ``code``) stay within the message. A template is translated before it
is compiled, so that English pages pay nothing and what is filled in is escaped as ever.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

_INLINE: Final = "b|strong|em|i|code|bdi|small|br|sup|sub"
_PIECE: Final = re.compile(
    r"(?P<comment>\{#.*?#\}|<!--.*?-->|<style.*?</style>|<script.*?</script>)"
    r"|(?P<block>\{%.*?%\})|(?P<value>\{\{.*?\}\})"
    rf"|(?P<inline></?(?:{_INLINE})\b(?:\{{\{{.*?\}}\}}|[^<>{{])*?>)"
    r"|(?P<tag></?[a-zA-Z!](?:\{\{.*?\}\}|\{%.*?%\}|[^<>{])*?>)",
    re.DOTALL,
)
_LITERAL: Final = re.compile(r'"(?P<text>[^"{}]*)"')
#: Texts of an expression that are said: a sentence, a word that begins with a capital.
_SAID: Final = re.compile(r"[A-Z][a-z].*| ?[a-z]+ .*|days?|none")
#: Attributes whose text people read or hear.
_ATTRIBUTE: Final = re.compile(
    r'(?P<name>\b(?:data-label|aria-label|title|alt|placeholder|data-said[-\w]*)=")(?P<text>(?:[^"{}]|\{\{.*?\}\})+)(?P<end>")'
)
_WORD: Final = re.compile(r"[^\W\d_]{2,}")
_PATH: Final = re.compile(r"[A-Za-z_][\w.]*")
_EDGE_TAG: Final = re.compile(rf"^\s*</?(?:{_INLINE})\b[^<>]*>|</?(?:{_INLINE})\b[^<>]*>\s*$")
#: Words of expressions that name nothing.
_EMPTY: Final = frozenset({"spaced", "linked", "if", "else", "not"})

#: What of a template may hold texts besides its words: what is filled in, and lists it runs over.
#: Signs that an expression puts between values.
_BETWEEN: Final = ("; ", ": ")
_SPOKEN: Final = ("{{", "{% for", "{%- for", "{% set")

Translate = Callable[[str], str]


@dataclass(frozen=True, slots=True)
class Writing:
    """How a language writes what lies between words.

    Attributes
    ----------
    signed : callable
        Puts the spaces about signs that stand alone between two values.
    before : str
        Prepositions that take in the article of a value, as alternatives of a pattern.
    """

    signed: Callable[[str], str] = str
    before: str = ""

    def placed(self, words: str, name: str, expression: str) -> str:
        """Put an expression into its place; a preposition before it meets it when it is filled."""
        if self.before and expression.startswith("{{"):
            met = re.compile(rf"\b({self.before}) \{{{name}\}}")
            inner = expression.strip("{}- ")
            words = met.sub(lambda m: f'{{{{ ({inner})|met("{m[1]}") }}}}', words)
        return words.replace(f"{{{name}}}", expression)


@dataclass(frozen=True, slots=True)
class Run:
    """A message of a template: its id, and the expressions that stand in its places."""

    message: str
    values: dict[str, str]


def translated(
    source: str,
    translate: Translate,
    writing: Writing = Writing(),
    *,
    plain: bool = False,
) -> str:
    """Put the words of a template into another tongue.

    Parameters
    ----------
    source : str
        Template.
    translate : callable
        Gives the words for a message id.
    writing : Writing
    plain : bool
        Plain text: a line is a run, and there are no tags.
    """
    return "".join(_out(piece, translate, writing) for piece in _pieces(source, plain=plain))


def messages(source: str, *, plain: bool = False) -> list[str]:
    """Give every message id of a template, in order."""
    found: list[str] = []

    def noted(message: str) -> str:
        found.append(message)
        return message

    translated(source, noted, plain=plain)
    return found


def _out(piece: str | Run, translate: Translate, writing: Writing) -> str:
    if isinstance(piece, Run):
        words = translate(piece.message)
        for name, expression in piece.values.items():
            words = writing.placed(words, name, _expression(expression, translate, writing))
        return words
    if piece.startswith("<"):
        return _ATTRIBUTE.sub(
            lambda m: m["name"] + _worded(m["text"], translate, writing) + m["end"], piece
        )
    if piece.startswith(_SPOKEN):
        return _expression(piece, translate, writing)
    return piece if piece.startswith("{") else writing.signed(piece)


def _expression(expression: str, translate: Translate, writing: Writing) -> str:
    """Translate the texts of an expression."""

    def said(text: re.Match[str]) -> str:
        words = text["text"]
        if words in _BETWEEN:
            return f'"{writing.signed(words)}"'
        return f'"{translate(words)}"' if _SAID.fullmatch(words) else text[0]

    return _LITERAL.sub(said, expression)


def _worded(text: str, translate: Translate, writing: Writing) -> str:
    """Translate the words of an attribute, with what is filled in between them."""
    return "".join(_out(piece, translate, writing) for piece in _pieces(text, plain=True))


def _pieces(source: str, *, plain: bool) -> Iterator[str | Run]:
    run: list[str] = []
    at = 0
    for found in _PIECE.finditer(source):
        before = source[at : found.start()]
        at = found.end()
        yield from _texts(run, before, plain=plain)
        if found["value"] or (found["inline"] and not plain):
            run.append(found[0])
            continue
        yield from _ended(run)
        yield found[0]
    yield from _texts(run, source[at:], plain=plain)
    yield from _ended(run)


def _texts(run: list[str], text: str, *, plain: bool) -> Iterator[str | Run]:
    """Add a text to the run; in plain text every line ends one."""
    if not plain:
        run.append(text)
        return
    lines = text.splitlines(keepends=True)
    for line in lines:
        run.append(line)
        if line.endswith("\n"):
            yield from _ended(run)


def _ended(run: list[str]) -> Iterator[str | Run]:
    """Give what was gathered: spaces and tags at the edges as they are, the rest as a run."""
    pieces = [piece for piece in run if piece]
    run.clear()
    if not any(_WORD.search(p) for p in pieces if not p.startswith(("{{", "<"))):
        yield from pieces
        return
    text, values = _with_places(pieces)
    head, body, tail = _trimmed(text)
    yield from _attributes_of(head, values)
    yield Run(body, {name: value for name, value in values.items() if f"{{{name}}}" in body})
    yield from _attributes_of(tail, values)


def _attributes_of(text: str, values: dict[str, str]) -> Iterator[str]:
    for name, value in values.items():
        text = text.replace(f"{{{name}}}", value)
    yield text


def _with_places(pieces: list[str]) -> tuple[str, dict[str, str]]:
    values: dict[str, str] = {}
    text = ""
    for piece in pieces:
        if not piece.startswith("{{"):
            text += piece
            continue
        name = _name(piece, values)
        values[name] = piece
        text += f"{{{name}}}"
    return text, values


def _name(expression: str, taken: dict[str, str]) -> str:
    paths = [path for path in _PATH.findall(expression) if path not in _EMPTY]
    name = paths[0].rsplit(".", 1)[-1] if paths else "value"
    number = 2
    while (held := taken.get(name if number == 2 else f"{name}{number - 1}")) is not None:
        if held == expression:
            break
        number += 1
    return name if number == 2 else f"{name}{number - 1}"


def _trimmed(text: str) -> tuple[str, str, str]:
    """Part spaces, and tags that open or close alone at an edge, from the words."""
    head, body, tail = "", text, ""
    while True:
        start = re.match(r"\s+|- (?=\S)", body)
        end = re.search(r"\s+$", body)
        tag = _EDGE_TAG.search(body)
        if start:
            head, body = head + start[0], body[start.end() :]
        elif end:
            body, tail = body[: end.start()], end[0] + tail
        elif tag and tag.start() == 0 and _lone(body, tag[0]):
            head, body = head + tag[0], body[tag.end() :]
        elif tag and tag.end() == len(body) and _lone(body, tag[0]):
            body, tail = body[: tag.start()], tag[0] + tail
        elif wrapped := re.fullmatch(
            rf"(<({_INLINE})\b[^<>]*>)((?:(?!<\2\b).)*)(</\2>)", body, re.DOTALL
        ):
            head, body, tail = head + wrapped[1], wrapped[3], wrapped[4] + tail
        else:
            return head, body, tail


def _lone(body: str, tag: str) -> bool:
    """Tell whether a tag at an edge has no partner in the run."""
    name = re.sub(r"[</>]", " ", tag).split()[0]
    if name == "br":
        return True
    opened = len(re.findall(rf"<{name}\b", body))
    closed = len(re.findall(rf"</{name}\b", body))
    return opened != closed
