"""What every page owes a reader of another language, and every reader of a table or a sheet.

As in ``page_checker``, each function gives what is wrong, in words. What an export, a person or a
command line says is not the page's own: ``code`` and whatever bears the name of the mill.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path

#: Stretches of words as they are shown, with those that a browser sets beside cells.
_SHOWN = """() => {
    const told = [];
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const block = 'p, li, h1, h2, h3, td, th, figcaption, dd, dt, label, text, summary, div';
    const own = new Map();
    for (let node; (node = walk.nextNode());) {
        const at = node.parentElement;
        const other = at.closest('style, script, code, [lang]:not(html)');
        if (!node.textContent.trim() || other) continue;
        const around = at.closest(block) || at;
        own.set(around, (own.get(around) || '') + node.textContent);
    }
    for (const cell of document.querySelectorAll('[data-label], [aria-label], [title]'))
        for (const name of ['data-label', 'aria-label', 'title'])
            if (cell.hasAttribute(name)) told.push(cell.getAttribute(name));
    return [...own.values(), ...told].map(text => text.replace(/[ \\n\\t]+/g, ' ').trim());
}"""
#: Words that a line ends within; a hyphen or a stroke is a place to end one.
_BROKEN = """() => {
    const found = new Set();
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const range = document.createRange();
    for (let node; (node = walk.nextNode());) {
        const at = node.parentElement;
        if (!at.closest('td, th, h1, h2, h3') || at.closest('code, script, style')) continue;
        if (!at.checkVisibility()) continue;
        for (const word of node.textContent.matchAll(/[\\p{L}\\p{N}.,]{2,24}/gu)) {
            range.setStart(node, word.index);
            range.setEnd(node, word.index + word[0].length);
            const tops = [...range.getClientRects()].filter(r => r.width > 0).map(r => r.top);
            if (tops.length && Math.max(...tops) - Math.min(...tops) > 4) found.add(word[0]);
        }
    }
    return [...found];
}"""
#: Running text as it stands, its spaces kept apart from those at which no line ends.
_RUNNING = """() => {
    const told = [];
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let node; (node = walk.nextNode());)
        if (!node.parentElement.closest('style, script, code, svg, textarea'))
            told.push(node.textContent);
    return told;
}"""
_TABLES = """() => {
    const wrong = [];
    for (const table of document.querySelectorAll('table')) {
        const name = (table.querySelector('thead') || table).textContent.trim().slice(0, 40);
        if ([...table.querySelectorAll('thead th')].some(e => e.scope !== 'col'))
            wrong.push(`a head of a column is not marked: ${name}`);
        for (const row of table.querySelectorAll('tbody tr'))
            if (row.querySelectorAll('th[scope=row]').length !== 1) {
                wrong.push(`a row has no head: ${name}`);
                break;
            }
    }
    return wrong;
}"""
_CLIPPED = """() => {
    const wrong = [];
    for (const text of document.querySelectorAll('svg text')) {
        const drawing = text.closest('svg');
        if (!text.checkVisibility() || text.closest('title, desc, defs')) continue;
        const [own, all] = [text.getBoundingClientRect(), drawing.getBoundingClientRect()];
        if (own.width && (own.right > all.right + 5 || own.left < all.left - 5))
            wrong.push(`${text.textContent} reaches beyond its chart`);
    }
    return wrong;
}"""
#: What has to be pushed sideways to be read.
_SIDEWAYS = """() => [...document.querySelectorAll('body *')]
    .filter(e => /auto|scroll/.test(getComputedStyle(e).overflowX) && e.checkVisibility())
    .filter(e => e.scrollWidth > e.clientWidth + 1 && !e.matches('input, textarea, pre'))
    .map(e => `${e.scrollWidth - e.clientWidth} px wider than it shows: ` +
        e.textContent.trim().slice(0, 40))"""
#: Signs that a style sheet sets behind words, without the space that French puts before them.
_SET_BY_STYLE = """() => [...new Set([...document.querySelectorAll('td, th, li, p, span')]
    .map(e => getComputedStyle(e, '::after').content)
    .filter(content => /^"[:;!?]/.test(content)))]"""
_HEADINGS = "() => [...document.querySelectorAll('h2, h3')].map(e => e.textContent)"
_HEADS = """() => [...document.querySelectorAll('thead')].map(e =>
    [...e.querySelectorAll('th')].map(cell => cell.textContent).join(' '))"""
#: What stands under the words of a sheet.
_NUMBER_OF_SHEET = re.compile(r"\n\s*\d+\s*/\s*\d+\s*$")
#: English words that no other language of the pages has.
_ENGLISH = re.compile(
    r"(?<!set-)\b(?:the|and|of|with|from|interval|lost|days?|hours?|is|are|which|there|usually|points)\b"
)
#: The same for what a terminal shows, where options and keys of a description stay as typed.
_TOLD = re.compile(
    r"(?<![-\w.\"'/])(?:the|and|of|with|is|are|was|were|which|there|not|cannot|this|that|its|than"
    r"|day|days|hours|readings|folder|nothing|no|because|other)\b(?![-\w./])"
)
#: Words of other languages that look like one of those.
_ALIKE = {"fr": {"points"}, "es": {"no"}, "pt": {"no"}}
_PAIRS = {
    "es": re.compile(r"\b(?:de|a) el (?!\d)"),
    "pt": re.compile(r"\b(?:de|em|por) (?:os?|as?|estes?|estas?) (?!\d)|\ba os? "),
    "fr": re.compile(r"\b(?:de|à) les? (?=constat|période)"),
}
_NO_SPACE = re.compile(r"[^\s\u00a0:;!?][:;!?](?=\s|$)|(?<=\w)[ ][:;!?](?=\s|$)|\d[ ]?%")
_POINT = re.compile(r"(?<![\w.:/-])\d+\.\d{1,2}(?![\w.])")
_PARTED = re.compile(r"\d (?:%|(?:kg|mg|t|h|min|s|m³|L|°C|pH|m)(?![\w'’-]))|± \d|\bpH \d")
_UNITS = re.compile(r"\[(?:K|points?)\]|pH \d+[.,]\d+[ \u00a0]pH|\bPH (?=de )")


def english(page, language: str) -> list[str]:
    """English left in a page of another language."""
    if language == "en":
        return []
    alike = _ALIKE.get(language, set())
    return _each(
        f"{found[0]} in: {text[:100]}"
        for text in page.evaluate(_SHOWN)
        if (found := _ENGLISH.search(text)) and found[0] not in alike
    )


def english_told(text: str, language: str, kept: Sequence[str] = ()) -> list[str]:
    """English left in what a terminal shows; `kept` is what an export or a disk says itself."""
    for words in sorted(kept, key=len, reverse=True):
        text = text.replace(words, "")
    alike = _ALIKE.get(language, set())
    return _each(
        f"{found[0]} in: {line}"
        for line in text.splitlines()
        for found in _TOLD.finditer(line)
        if found[0] not in alike
    )


def unmet(page, language: str) -> list[str]:
    """A preposition and an article that the language makes one word, standing apart."""
    pattern = _PAIRS.get(language)
    if pattern is None:
        return []
    return _each(text[:120] for text in page.evaluate(_SHOWN) if pattern.search(text))


def signs(page, language: str) -> list[str]:
    """French signs without their space, or with one at which a line may end."""
    if language != "fr":
        return []
    beside = [f"a style sets {sign!r}" for sign in page.evaluate(_SET_BY_STYLE)]
    return _each(text[:120] for text in page.evaluate(_SHOWN) if _NO_SPACE.search(text)) + beside


def points(page, language: str) -> list[str]:
    """Numbers with a decimal point where a comma is written, and units nobody prints."""
    pattern = _UNITS if language == "en" else re.compile(f"{_POINT.pattern}|{_UNITS.pattern}")
    return _each(text[:120] for text in page.evaluate(_SHOWN) if pattern.search(text))


def parted(page, _language: str) -> list[str]:
    """Numbers that a line may part from their unit (SI Brochure, 5.4.3: they belong together)."""
    told = page.evaluate(_RUNNING)
    return _each(" ".join(text.split())[:120] for text in told if _PARTED.search(text))


def broken_words(page) -> list[str]:
    """Words of cells and headings within which a line ends."""
    return [f"{word} is broken" for word in page.evaluate(_BROKEN)]


def row_heads(page) -> list[str]:
    """Tables whose rows and columns do not say what they are of."""
    return page.evaluate(_TABLES)


def clipped(page) -> list[str]:
    """Words of a chart that its edge cuts."""
    return page.evaluate(_CLIPPED)


def sideways(page) -> list[str]:
    """Parts of a page that scroll sideways."""
    return page.evaluate(_SIDEWAYS)


_OUT_OF_COLUMN = """() => [...document.querySelectorAll('table')]
  .filter(e => e.checkVisibility() && !e.closest('.wide'))
  .filter(e => e.getBoundingClientRect().right
    > e.parentElement.getBoundingClientRect().right + 3)
  .map(e => e.textContent.trim().slice(0, 60))"""


def out_of_column(page) -> list[str]:
    """Tables that reach past the column they stand in; one that scrolls by itself may."""
    return page.evaluate(_OUT_OF_COLUMN)


def orphan_headings(page, sheets: bytes | None = None) -> list[str]:
    """Headings and heads of tables at the foot of a printed page, what they head on the next."""
    named = {_plain(text) for text in page.evaluate(_HEADINGS)}
    heads = [set(text.split()) for text in page.evaluate(_HEADS)]
    feet = _feet(page.pdf(prefer_css_page_size=True) if sheets is None else sheets)
    return [
        f"page {n} ends with {foot!r}"
        for n, (above, foot) in enumerate(feet, 1)
        if foot in named or any(_is_head(above, foot, words) for words in heads)
    ]


def _is_head(above: str, foot: str, words: set[str]) -> bool:
    """Whether a last line is all of a table's head, or the last of its two lines or more."""
    own = set(foot.split())
    return bool(own) and (own == words or (own <= words and set(above.split()) <= words))


def _feet(sheets: bytes) -> Sequence[tuple[str, str]]:
    """The two last lines of every printed page but the last."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "page.pdf")
        path.write_bytes(sheets)
        tool = shutil.which("pdftotext")
        assert tool is not None, "pdftotext is absent: it comes with poppler-utils"
        subprocess.run([tool, "-layout", path], check=True)
        pages = path.with_suffix(".txt").read_text("utf-8").rstrip("\f").split("\f")
    told = (_NUMBER_OF_SHEET.sub("", text.rstrip()).strip() for text in pages[:-1])
    lines = ([_plain(line) for line in text.splitlines() if line.strip()] for text in told)
    return [(above, foot) for *_, above, foot in (["", "", *found] for found in lines)]


def _plain(text: str) -> str:
    return " ".join(text.split())


def _each(wrong: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(wrong))
