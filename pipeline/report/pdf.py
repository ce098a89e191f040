"""The report as PDF, from the same page as the HTML."""

from __future__ import annotations

import os
import subprocess
import sys
from contextlib import suppress
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from pipeline.words import figure, said

#: A report of thirty pages takes under a second; this is for a renderer that stands still.
_PATIENCE_S: Final = 60.0
_PROGRAM: Final = Path(__file__).with_name("pdf_page.py")
#: Any font embedded leaves one of these in the file; without one the pages are empty.
_FONT_MARKS: Final = (b"/Length1", b"/Type1C", b"/CIDFontType0C")


def write_pdf(out: Path, page: str) -> str:
    """Write a page as PDF, replacing an older file only when the new one is complete.

    Parameters
    ----------
    out : Path
        The PDF file; its folder exists.
    page : str
        The whole HTML page. Nothing it refers to is fetched.

    Returns
    -------
    str
        Empty, or in plain words why there is no PDF. An older file is then gone, lest it be
        taken for this report's.
    """
    if find_spec("plutoprint") is None:
        why = said("the package plutoprint is not installed; install lostpol's requirements again")
        return _without(out, out, why)
    half_done = out.with_name(f".{out.name}.part")
    try:
        made = subprocess.run(
            [sys.executable, "-P", str(_PROGRAM), str(half_done)],
            input=page.encode("utf-8"),
            capture_output=True,
            timeout=_PATIENCE_S,
            check=False,
        )
        if made.returncode != 0:
            text = made.stderr.decode("utf-8", "replace").strip().splitlines()
            return _without(
                out,
                half_done,
                said("the renderer failed: {text}", text=text[-1] if text else said("crash")),
            )
        if not any(mark in half_done.read_bytes() for mark in _FONT_MARKS):
            return _without(out, half_done, said("the renderer could not read the report's fonts"))
        os.replace(half_done, out)  # noqa: PTH105 - replaces on every system
    except subprocess.TimeoutExpired:
        return _without(
            out,
            half_done,
            said(
                "the renderer did not finish within {patience_s} s",
                patience_s=figure(_PATIENCE_S, "g"),
            ),
        )
    except OSError as fault:
        return _without(
            out, half_done, said("it could not be written ({value})", value=fault.strerror or fault)
        )
    return ""


def _without(out: Path, half_done: Path, why: str) -> str:
    for path in (half_done, out):
        with suppress(OSError):
            path.unlink(missing_ok=True)
    return said("{why}. The HTML page and the text hold the same.", why=why)
