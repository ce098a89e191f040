"""The tutorial of the first hour: its commands and what it says they print, out of its own text.

    python tests/helpers/tutorial.py

carries the tutorial out in a folder of its own, says where its text differs from what was printed,
and takes its pictures anew (for that it needs Chromium).
"""

from __future__ import annotations

import contextlib
import io
import os
import re
import shlex
import subprocess
import sys
import tempfile
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.cli import app
from pipeline.cli import terminal as screens
from pipeline.cli.terminal import OUT

ROOT = Path(__file__).resolve().parents[2]
HOME = ROOT / "sample_parquet" / "messy_mill"
TEXT = HOME / "README.md"
_LIMED = "article.card:has(bdi.tag:text-is('PH-212'))"
#: What a picture shows: the page, what stands at its top edge, width and height.
PICTURES = {
    "confirm_page.png": ("tatu.html", "body", 1000, 1040),
    "confirm_tag.png": ("tatu.html", _LIMED, 1000, 480),
    "report_top.png": ("backfill.html", "body", 1000, 940),
    "report_finding.png": ("backfill.html", "#finding-3", 1000, 1060),
}


@dataclass
class Step:
    """One block of commands, a change of the description, and what the text says is printed."""

    commands: list[str] = field(default_factory=list)
    change: list[str] = field(default_factory=list)
    shown: list[str] = field(default_factory=list)


def steps(text: str) -> list[Step]:
    """Blocks of the tutorial, each with the print-out that follows it."""
    found: list[Step] = []
    for kind, body in re.findall(r"^```(sh|diff|text)\n(.*?)^```$", text, re.DOTALL | re.MULTILINE):
        lines = body.splitlines()
        if kind == "text":
            found[-1].shown = lines
        else:
            whole = body.replace("\\\n", " ").splitlines()
            found.append(Step(commands=whole) if kind == "sh" else Step(change=lines))
    return found


def prepare(step: Step, folder: Path) -> Path:
    """Carry out the first block in a folder that stands for the checkout; where it leads."""
    (folder / "sample_parquet").symlink_to(HOME.parent)
    # The environment is that of who asks.
    lines = [line for line in step.commands if "activate" not in line]
    done = subprocess.run(
        ["bash", "-ec", "\n".join([*lines, "pwd"])], cwd=folder, capture_output=True, text=True,
        check=True,
    )  # fmt: skip
    return Path(done.stdout.splitlines()[-1])


def carry_out(step: Step) -> str:
    """Run the commands of a step here, or make its change; what was printed."""
    if step.change:
        _change(step.change)
    said = io.StringIO()
    # As an ordinary terminal shows it, whatever this one is.
    was, OUT.width = OUT.width, 80
    terminal, OUT._force_terminal = OUT._force_terminal, True
    colour, OUT._color_system = OUT._color_system, None
    # Lines are compared as they are written, not as a terminal breaks them.
    fold, screens.folded = screens.folded, lambda _screen, words: words
    for line in step.commands:
        program, *words = shlex.split(line, comments=True)
        assert program == "lostpol", line
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(said):
            code = app.run(words)
        assert code == 0, f"{line}\n{said.getvalue()}"
    OUT.width, OUT._force_terminal, OUT._color_system = was, terminal, colour
    screens.folded = fold
    return said.getvalue()


def _change(lines: list[str]) -> None:
    """Change a file as a reader would: `---` names it, lines taken out must be there once."""
    path = Path(lines[0].removeprefix("--- "))
    text = path.read_text(encoding="utf-8")
    for hunk in re.split(r"^@@.*$", "\n".join(lines[1:]), flags=re.MULTILINE):
        old = [line[1:] for line in hunk.splitlines() if line.startswith(("-", " "))]
        new = [line[1:] for line in hunk.splitlines() if line.startswith(("+", " "))]
        if old or new:
            was = "\n".join(old) + "\n"
            assert text.count(was) == 1, f"{text.count(was)} times in {path}:\n{was}"
            text = text.replace(was, "\n".join(new) + "\n")
    path.write_text(text, encoding="utf-8")


def differences(shown: list[str], said: str) -> list[str]:
    """Lines that were not printed in that order; ``...`` stands for what is left out."""
    printed = [" ".join(line.split()) for line in said.splitlines()]
    at, wrong = 0, []
    for line in shown:
        whole = " ".join(line.split())
        start, cut, _ = whole.partition("...")
        if not whole or (cut and not start):
            continue
        fits = (
            k for k in range(at, len(printed))
            if (printed[k].startswith(start.rstrip()) if cut else printed[k] == whole)
        )  # fmt: skip
        here = next(fits, None)
        if here is None:
            wrong.append(line)
        else:
            at = here + 1
    return wrong


def take_pictures(here: Path) -> None:
    """Pictures of the pages that lie in a folder, beside the text."""
    from chromium import CHROMIUM
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        for name, (page_name, top, width, height) in PICTURES.items():
            page = browser.new_page(viewport={"width": width, "height": height})
            page.goto(next(here.rglob(page_name)).as_uri())
            spot = page.locator(top).first
            spot.evaluate("e => window.scrollTo(0, e.getBoundingClientRect().top - 12)")
            page.screenshot(path=HOME / "pictures" / name)
        browser.close()


def main() -> int:
    """Carry the tutorial out; say what differs, and take the pictures."""
    first, *rest = steps(TEXT.read_text(encoding="utf-8"))
    with tempfile.TemporaryDirectory() as folder:
        here = prepare(first, Path(folder))
        os.chdir(here)
        differs = False
        for step in rest:
            said = carry_out(step)
            wrong = differences(step.shown, said)
            differs = differs or bool(wrong)
            sys.stdout.write(f"$ {step.commands or step.change[0]}\n{said}\n")
            sys.stdout.writelines(f"NOT PRINTED: {line}\n" for line in wrong)
        take_pictures(here)
        os.chdir(ROOT)
    return int(differs)


if __name__ == "__main__":
    sys.exit(main())
