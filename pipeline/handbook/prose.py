"""The documents of the project, from Markdown to parts of one page whose links stay inside it."""

from __future__ import annotations

import base64
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from posixpath import normpath
from typing import Final

from markdown_it import MarkdownIt
from markdown_it.token import Token
from markupsafe import Markup, escape

#: Headings of a document stand below those of the page.
_DEEPER: Final = 2
_LARGEST_PICTURE: Final = 200_000
_NO_WORD: Final = re.compile(r"[^\w\- ]")
_COMMENT: Final = re.compile(r"\s*(<!--.*?-->\s*)+", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Part:
    """What stands under one heading of a document."""

    title: str
    html: Markup


@dataclass(frozen=True, slots=True)
class Document:
    """A document: its path in the project, the anchor of its top, its parts."""

    path: str
    anchor: str
    title: str
    parts: tuple[Part, ...]


def documents_of(home: Path, paths: Sequence[str]) -> tuple[Document, ...]:
    """Render documents.

    Parameters
    ----------
    home : Path
        Folder of the project.
    paths : sequence of str
        Where they lie in it. A link from one to another leads to its place in the page.
    """
    tokens = {path: _reader().parse((home / path).read_text(encoding="utf-8")) for path in paths}
    anchors = {path: anchor_of(path) for path in paths}
    inside = {a for path in paths for a in _mark_headings(tokens[path], anchors[path])}
    return tuple(_document(home, path, tokens[path], anchors, inside) for path in paths)


def anchor_of(path: str) -> str:
    """Anchor of a document."""
    return "doc-" + re.sub(r"[^a-z0-9]+", "-", path.lower()).strip("-")


def _reader() -> MarkdownIt:
    # Tags within a text are read as such, so that comments can be left out; the others are
    # escaped below. The scheme of every link is looked at by the library (no javascript:).
    reader = MarkdownIt("commonmark", {"html": True}).enable("table")
    reader.add_render_rule("html_block", _tag)
    reader.add_render_rule("html_inline", _tag)
    reader.add_render_rule("table_open", _before_table)
    reader.add_render_rule("table_close", _behind_table)
    return reader


def _tag(_self: object, tokens: Sequence[Token], at: int, _options: object, _env: object) -> str:
    text = tokens[at].content
    return "" if _COMMENT.fullmatch(text) else str(escape(text))


def _before_table(*_: object) -> str:
    # One that is wider than a phone is moved sideways, with the keyboard too.
    return '<div class="scroll" tabindex="0" role="group" aria-label="Table"><table>\n'


def _behind_table(*_: object) -> str:
    return "</table></div>\n"


def _mark_headings(tokens: Sequence[Token], top: str) -> list[str]:
    """Give each heading its anchor and its depth in the page; gives the anchors."""
    found: list[str] = [top]
    for token, words in zip(tokens, [*tokens[1:], Token("", "", 0)], strict=True):
        if token.type not in {"heading_open", "heading_close"}:
            continue
        if token.type == "heading_open":
            anchor = f"{top}--{_slug(words)}"
            while anchor in found:
                anchor += "-1"
            found.append(anchor)
            token.attrSet("id", anchor)
        token.tag = f"h{min(int(token.tag[1]) + _DEEPER, 6)}"
    return found


def _slug(words: Token) -> str:
    """A heading as links name it: small letters, blanks as hyphens."""
    return _NO_WORD.sub("", _plain(words).lower()).replace(" ", "-")


def _plain(words: Token) -> str:
    return "".join(t.content for t in words.children or () if t.type in {"text", "code_inline"})


def _document(
    home: Path, path: str, tokens: list[Token], anchors: Mapping[str, str], inside: set[str]
) -> Document:
    for token in tokens:
        for child in token.children or ():
            if child.type == "link_open":
                _lead(child, path, anchors, inside)
            elif child.type == "image":
                _hold(child, home, path)
    # The first heading is the document's own; each of the second rank begins a part.
    starts = [0] + [
        at for at, t in enumerate(tokens) if t.type == "heading_open" and t.markup in {"##", "-"}
    ]
    parts = []
    for first, last in zip(starts, [*starts[1:], len(tokens)], strict=True):
        title = next((_plain(t) for t in tokens[first:last] if t.type == "inline"), path)
        reader = _reader()
        html = reader.renderer.render(tokens[first:last], reader.options, {})
        parts.append(Part(title, Markup(html)))
    return Document(path, anchors[path], parts[0].title, tuple(parts))


def _lead(link: Token, path: str, anchors: Mapping[str, str], inside: set[str]) -> None:
    """Let a link lead to its place in the page; one to a file that is not here is only words."""
    target = str(link.attrGet("href") or "")
    if re.match(r"[a-z][a-z0-9+.-]*:|//", target, re.IGNORECASE):
        link.attrSet("rel", "noreferrer")
        return
    name, _, heading = target.partition("#")
    named = normpath(str(PurePosixPath(path).parent / name)) if name else path
    top = anchors.get(named, "")
    anchor = f"{top}--{heading}" if top and heading else top
    if anchor in inside:
        link.attrSet("href", f"#{anchor}")
        return
    del link.attrs["href"]
    link.attrSet("title", f"{named}, in the folder of the project")


def _hold(picture: Token, home: Path, path: str) -> None:
    """Put a picture of the project into the page itself; one that is not there leaves its words."""
    source = str(picture.attrGet("src") or "")
    place = (home / path).parent.joinpath(source).resolve()
    held = place.is_relative_to(home.resolve()) and place.suffix == ".png" and place.is_file()
    if held and place.stat().st_size <= _LARGEST_PICTURE:
        data = base64.b64encode(place.read_bytes()).decode("ascii")
        picture.attrSet("src", f"data:image/png;base64,{data}")
        picture.attrSet("loading", "lazy")
    else:
        picture.attrSet("src", "data:,")
