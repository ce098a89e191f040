"""What every page owes its reader, checked on the page as Chromium shows it.

Each function gives what is wrong, in words; an empty list is a page without fault. Totals and their
parts bear the same name in ``data-total`` and ``data-part``.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterable
from pathlib import Path

import numpy as np

#: A number as printed, and whether it is one that did better than at the targets.
_PRINTED = re.compile(r"(?:[A-Z]{3} )?([\d,]+(?:\.\d+)?)(?: [^\s(]+)?( better)?")
_SUMS = """() => [...document.querySelectorAll('[data-total], [data-part]')].map(e =>
    [e.dataset.total || '', e.dataset.part || '', e.innerText || e.textContent])"""
_SAME = """() => [...document.querySelectorAll('[data-same], [data-total]')].map(e =>
    [e.dataset.same || e.dataset.total, e.innerText || e.textContent])"""
#: Every stretch of words with what tells of it: its own block, then headings and labels around it.
_SAID = """() => {
    const told = [];
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    const own = 'p, li, h1, h2, h3, td, th, figcaption, dd, dt, label';
    const around = 'article, .card, section, .lead, .figures, .found, .days, .headline, table';
    for (let node; (node = walk.nextNode());) {
        const at = node.parentElement;
        if (!node.textContent.trim() || at.closest('style, script, svg, code')) continue;
        const block = at.closest(own) || at;
        const near = [block.innerText || block.textContent];
        const cell = at.closest('td, th');
        if (cell) {
            const table = cell.closest('table');
            const head = table.querySelectorAll('thead th')[cell.cellIndex];
            near.push(cell.closest('tr').textContent, head ? head.textContent : '');
        }
        for (let up = block; (up = up.parentElement && up.parentElement.closest(around));) {
            const labels = ':scope > p, h1, h2, h3, .key, .span, .fine, figcaption, thead';
            near.push(...[...up.querySelectorAll(labels)].map(e => e.textContent));
        }
        const all = near.join(' | ').replace(/\\u00a0/g, ' ');
        told.push([block.textContent.replace(/\\s+/g, ' ').trim(), all]);
    }
    return told;
}"""
_BOXES = """() => {
    const boxes = [];
    const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let node; (node = walk.nextNode());) {
        const at = node.parentElement;
        if (!node.textContent.trim() || !at.checkVisibility({checkOpacity: true})) continue;
        if (at.closest('style, script, label.fold, .unseen, title, desc')) continue;
        const head = at.closest('thead');
        if (head && getComputedStyle(head).position === 'absolute') continue;
        const range = document.createRange();
        range.selectNodeContents(node);
        for (const r of range.getClientRects())
            if (r.width > 2 && r.height > 2)
                boxes.push([r.left, r.top, r.right, r.bottom, node.textContent.trim()]);
    }
    return boxes;
}"""
#: Labels that a phone sets beside a cell and that are too long for their place.
_LABELS = """() => {
    const pen = document.createElement('canvas').getContext('2d');
    const long = new Set();
    for (const cell of document.querySelectorAll('td[data-label]')) {
        const label = getComputedStyle(cell, '::before');
        if (label.position !== 'absolute' || label.content === 'none') continue;
        if (!cell.checkVisibility()) continue;
        pen.font = label.font;
        if (pen.measureText(cell.dataset.label).width > parseFloat(label.width))
            long.add(cell.dataset.label);
    }
    return [...long];
}"""
_TONNES = re.compile(r"(?<![\w.,-])\d[\d,]*(?:\.\d+)? t\b(?! a | an |/| per | cane)")
_BASELINE = re.compile(
    r"unavoidable|usual|targets|sucrose fed|pol fed|[Ss]aved|daily balance|of undetermined loss|"
    r"more than running"
)
_INTERVAL = re.compile(r"\([\d.,]+(?: better)? to [\d.,]+[^)]*\)")
_BARE = re.compile(r"(?:^|[^\w.,] ?)(?<![A-Z]{3} )(?<!± )([\d,]+(?:\.\d+)?) \([\d.,]+ to [\d.,]+\)")
_FACTOR = re.compile(r"[Ff]actor|multiplier|times|\[[^\]]+\]")
_INTERNAL = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b|\bdegC\b|(?<!\w)m[23](?!\w)|\bNone\b|\bnan\b")
#: Words of two boxes may touch by so much of the lower one before one covers the other.
_TOUCH = 0.35


def sums(page) -> list[str]:
    """Totals that are not the sum of their parts as printed, within rounding."""
    totals: dict[str, tuple[float, float]] = {}
    unknown = set()  # a total that could not be computed owes no sum
    parts: dict[str, list[tuple[float, float]]] = {}
    for total, part, text in page.evaluate(_SUMS):
        value = _number(text)
        if value is None:
            unknown.add(total)
            continue
        if total:
            totals[total] = value
        if part:
            parts.setdefault(part, []).append(value)
    wrong = [f"no total of {name}" for name in parts if name not in {*totals, *unknown}]
    for name, (value, step) in totals.items():
        found = parts.get(name, [])
        added = sum(part for part, _ in found)
        room = 0.5001 * (step + sum(part_step for _, part_step in found))
        if not found or abs(added - value) > room:
            wrong.append(f"{name}: {value} is not {added} of {len(found)} parts, within {room:.3g}")
    return wrong


def told_twice(page) -> list[str]:
    """Numbers that stand in two places and are not the same: ``data-same`` names them."""
    first: dict[str, str] = {}
    wrong = []
    for name, text in page.evaluate(_SAME):
        words = " ".join(text.split()).partition(" (")[0]
        if first.setdefault(name, words) != words:
            wrong.append(f"{name}: {first[name]} and {words}")
    return wrong


def count_of_totals(page) -> int:
    """How many totals a page prints: a page whose marks are gone must not pass for a right one."""
    return page.locator("[data-total]").count()


def _number(text: str) -> tuple[float, float] | None:
    """A printed number and its last digit's step; none counts as nothing."""
    words = " ".join(text.split())
    if words == "none":
        return 0.0, 0.0
    found = _PRINTED.match(words)
    if found is None:
        return None
    digits = found[1].replace(",", "")
    step = 10.0 ** -len(digits.partition(".")[2])
    return (-float(digits) if found[2] else float(digits)), step


def baselines(page) -> list[str]:
    """Tonnes of sucrose of which nothing around them says what they are counted from."""
    return _each(
        f"no baseline: {said[:120]}"
        for said, near in page.evaluate(_SAID)
        if _TONNES.search(said) and not _BASELINE.search(near)
    )


def intervals(page) -> list[str]:
    """Intervals without their level."""
    return _each(
        f"no level: {said[:120]}"
        for said, near in page.evaluate(_SAID)
        if _INTERVAL.search(said) and "90 %" not in near
    )


def _each(wrong: Iterable[str]) -> list[str]:
    """Every fault once: a cell is met with each of its words."""
    return list(dict.fromkeys(wrong))


def units(page) -> list[str]:
    """Numbers with an interval that have no unit and are no factor."""
    return [
        f"no unit: {said[:120]}"
        for said, near in page.evaluate(_SAID)
        if _BARE.search(said) and not _FACTOR.search(near)
    ]


def internal_names(page) -> list[str]:
    """Names and units that only the tool's own files know."""
    return [
        f"{found[0]} in: {said[:120]}"
        for said, _ in page.evaluate(_SAID)
        if (found := _INTERNAL.search(said))
    ]


def text_over_text(page) -> list[str]:
    """Words that lie over others, labels of cells among them."""
    wrong = [f"label {label!r} takes more than its line" for label in page.evaluate(_LABELS)]
    boxes = sorted(page.evaluate(_BOXES), key=lambda box: box[1])
    for i, (left, top, right, bottom, words) in enumerate(boxes):
        for other in boxes[i + 1 :]:
            if other[1] >= bottom:
                break
            wide = min(right, other[2]) - max(left, other[0])
            tall = min(bottom, other[3]) - max(top, other[1])
            if wide > 2.0 and tall > _TOUCH * min(bottom - top, other[3] - other[1]):
                wrong.append(f"{words[:40]!r} over {other[4][:40]!r}")
    return wrong


def empty_thirds(page, most_of_last: float = 1.0) -> list[str]:
    """Printed pages of which a third or more in one piece is blank; the last may be more so."""
    drawn = _sheets(page)
    wrong = []
    for number, sheet in enumerate(drawn, start=1):
        blank = np.concatenate([[False], (sheet > 250).all(axis=1), [False]])
        edges = np.flatnonzero(np.diff(blank.astype(int)))
        longest = max(edges[1::2] - edges[::2], default=0)
        if longest >= len(sheet) * (1 / 3 if number < len(drawn) else most_of_last):
            wrong.append(f"page {number}: {longest / len(sheet):.0%} blank in one piece")
    return wrong


def _sheets(page) -> list[np.ndarray]:
    """Printed pages as pictures, a byte for each point."""
    sheets = page.pdf(prefer_css_page_size=True)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "page.pdf")
        path.write_bytes(sheets)
        tool = shutil.which("pdftoppm")
        assert tool is not None, "pdftoppm is absent: it comes with poppler-utils"
        subprocess.run([tool, "-gray", "-r", "24", path, path.with_suffix("")], check=True)
        return [_gray(file) for file in sorted(Path(folder).glob("page-*.pgm"))]


def _gray(file: Path) -> np.ndarray:
    """A picture in binary PGM, as its format says: magic, width, height, depth, then bytes."""
    head = re.match(rb"P5\s+(\d+)\s+(\d+)\s+(\d+)\s", file.read_bytes())
    wide, tall = int(head[1]), int(head[2])
    return np.frombuffer(file.read_bytes()[head.end() :], np.uint8).reshape(tall, wide)
