"""Turn one page of HTML into a PDF; runs as a program of its own.

The renderer is native code: whatever a page makes it do, a crash or a standstill ends this program
and not the run that called it. It may read the two fonts beside this file and nothing else, neither
disk nor network. This file imports nothing of lostpol, so that it starts at once.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Final

import plutoprint

FONTS: Final = Path(__file__).with_name("fonts")
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
    book.load_html(sys.stdin.buffer.read().decode("utf-8"), base_url="lostpol:page")
    book.write_to_pdf(sys.argv[1])


if __name__ == "__main__":
    main()
