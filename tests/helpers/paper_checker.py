"""What a printed page owes its reader, and what narrow columns and small bars do.

As in ``page_checker``, each function gives what is wrong, in words.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from pathlib import Path

#: What only a screen, a pointer or a keyboard can do, and marks of links that paper cannot follow.
_SCREEN_ONLY = """() => {
    const wrong = [...document.querySelectorAll('.on-screen, .by-hand, kbd, button, input, select')]
        .filter(e => e.checkVisibility()).map(e => e.textContent.trim().slice(0, 60) || e.tagName);
    const lines = [...document.querySelectorAll('main a, section a')]
        .filter(e => e.checkVisibility() && !e.closest('svg'))
        .filter(e => getComputedStyle(e).textDecorationLine !== 'none');
    return [...wrong, ...lines.map(e => `underlined: ${e.textContent.trim().slice(0, 60)}`)];
}"""
#: Both ends of an interval, and the day of a date, on two lines of a cell.
_PARTED = r"""() => {
    const whole = /\([-−]?\d[^()]*?\d\)|(?<!\p{L})\p{L}{3}\.?\s\d{1,2}\s\p{L}{3}(?!\p{L}{5})/gu;
    const found = new Set();
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const range = document.createRange();
    for (let node; (node = walk.nextNode());) {
        const at = node.parentElement;
        if (!at.closest('td, th') || at.closest('code, script, style, svg')) continue;
        if (!at.checkVisibility()) continue;
        for (const words of node.textContent.matchAll(whole)) {
            range.setStart(node, words.index);
            range.setEnd(node, words.index + words[0].length);
            const tops = [...range.getClientRects()].filter(r => r.width > 0).map(r => r.top);
            if (tops.length && Math.max(...tops) - Math.min(...tops) > 4) found.add(words[0]);
        }
    }
    return [...found];
}"""
#: Rows of factors: the number, and what its bar looks like.
_BARS = """() => [...document.querySelectorAll('table.shares tr')].map(row => {
    const bar = row.querySelector('svg rect'), zero = row.querySelector('svg line');
    const at = name => bar ? parseFloat(bar.getAttribute(name)) : 0;
    const light = bar && (getComputedStyle(bar).fill.match(/\\d+/g) || [255]).every(n => n > 240);
    return [row.querySelector('.num').textContent.trim(), at('x'), at('width'),
        zero ? parseFloat(zero.getAttribute('x1')) : 0, Boolean(bar) && !light];
})"""
_AXIS = re.compile(r"(?:\b[^\W\d_]{3}\.? \d{1,2} [^\W\d_]{3,5}\.?.*){2}|(?:\b\d\d:\d\d\b.*){3}")


def screen_only(page) -> list[str]:
    """Words and marks that mean nothing on paper."""
    page.emulate_media(media="print")
    wrong = page.evaluate(_SCREEN_ONLY)
    page.emulate_media(media="null")
    return wrong


def parted_ends(page) -> list[str]:
    """Intervals and dates of cells within which a line ends."""
    return page.evaluate(_PARTED)


def wrong_bars(page) -> list[str]:
    """Bars of factors that point the wrong way, look like their opposite, or stand for nothing."""
    wrong = []
    for words, left, wide, zero, filled in page.evaluate(_BARS):
        number = re.match(r"[-−]?[\d.,]+", words.replace("\u00a0", " "))
        if number is None:
            continue
        nothing = not re.search(r"[1-9]", number[0])
        if nothing and wide > 0:
            wrong.append(f"{words}: a bar of nothing")
        elif number[0][0] in "-−" and wide > 0 and (left + wide > zero + 0.2 or filled):
            wrong.append(f"{words}: a bar as if it added")
        elif number[0][0] not in "-−" and wide > 0 and left < zero - 0.2:
            wrong.append(f"{words}: a bar as if it held the loss down")
    return wrong


def sheets_without_axis(page) -> list[str]:
    """Sheets with lanes of a chart that no axis of time stands on."""
    names = page.evaluate(
        "() => [...document.querySelectorAll('.lane:not([hidden]) .name, .row:not(.clock) h3')]"
        ".map(e => e.textContent)"
    )
    wrong = []
    for number, sheet in enumerate(_sheets(page), start=1):
        lines = [" ".join(line.split()) for line in sheet.splitlines()]
        told = [name for name in names if any(_begins(line, name) for line in lines)]
        if told and not any(_AXIS.search(line) for line in lines):
            wrong.append(f"page {number}: {told[0]} and {len(told) - 1} more")
    return wrong


def unnumbered(page) -> list[str]:
    """Sheets that do not say which they are, and of how many."""
    sheets = _sheets(page)
    return [
        f"page {number}"
        for number, sheet in enumerate(sheets, start=1)
        if f"{number}/{len(sheets)}" not in "".join(sheet.split())
    ]


def _begins(line: str, name: str) -> bool:
    words = " ".join(name.split())
    # Whole, its unit with it: a table of sensors begins its lines with the same tag.
    return len(words) > 8 and line.startswith(words)


def _sheets(page) -> list[str]:
    """Words of each printed page."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "page.pdf")
        path.write_bytes(page.pdf(prefer_css_page_size=True))
        tool = shutil.which("pdftotext")
        assert tool is not None, "pdftotext is absent: it comes with poppler-utils"
        subprocess.run([tool, "-layout", path], check=True)
        return path.with_suffix(".txt").read_text("utf-8").rstrip("\f").split("\f")
