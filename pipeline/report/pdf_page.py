"""Turn one page of HTML into a PDF; runs as a program of its own.

The renderer is native code: whatever a page makes it do, a crash or a standstill ends this program
and not the run that called it. It may read the two fonts beside this file and nothing else, neither
disk nor network. This file imports nothing of lostpol, so that it starts at once.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import plutoprint

from pipeline.words import said

FONTS: Final = Path(__file__).with_name("fonts")
_CLOSER: Final = re.compile(r'(<!doctype html>\s*<html lang="[a-z-]+") data-closer="([a-z ]+)"')
_OWN: Final = {
    "lostpol:regular": "DejaVuSansCondensed.ttf",
    "lostpol:bold": "DejaVuSansCondensed-Bold.ttf",
}


class OwnFonts(plutoprint.ResourceFetcher):
    """Gives the report's own fonts and answers everything else with nothing."""

    def fetch_url(self, url: str) -> plutoprint.ResourceData:
        """Content of `url`: a font, or nothing."""
        name = _OWN.get(url)
        if name is None:
            return plutoprint.ResourceData(b"", "text/plain")
        return plutoprint.ResourceData((FONTS / name).read_bytes(), "font/ttf")


def main() -> None:
    """Read HTML from standard input and write the PDF to the path named."""
    book = plutoprint.Book(plutoprint.PAGE_SIZE_A4)
    book.custom_resource_fetcher = OwnFonts()
    # A base of our own: links inside the page are then complete and stay inside it.
    lay_out(book, sys.stdin.buffer.read().decode("utf-8"))
    book.write_to_pdf(sys.argv[1])


def lay_out(book: plutoprint.Book, page: str) -> int:
    """Set a page, one that wants to be one sheet ever closer until it is; pages it takes."""
    pages = 0
    for attempt in tighter(page):
        book.load_html(attempt, base_url="lostpol:page")
        pages = book.get_page_count()
        if pages == 1:
            break
    return pages


def tighter(page: str) -> Iterator[str]:
    """A page that wants to be one sheet, set ever closer; any other as it is.

    Such a page names in ``data-closer`` of its root the classes to try, one after the other.
    """
    found = _CLOSER.match(page)
    if found is None:
        yield page
        return
    for name in found[2].split(" "):
        yield said(
            '{found} class="{name}"{page}', found=found[1], name=name, page=page[found.end(2) + 1 :]
        )


if __name__ == "__main__":
    main()
