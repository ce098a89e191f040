"""Random clicks, drags and keys at the review desk: no error in page or server, memory flat.

    python tests/benchmarks/desk_random.py MILL [--minutes 10] [--seed 1]

A copy of the mill's store is made first, so that verdicts and notes may be given at random, too.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import Error, sync_playwright

from pipeline.mill import load_mill

ROOT = Path(__file__).resolve().parents[2]
KEYS = (
    "Tab", "Tab", "Enter", "ArrowLeft", "ArrowRight", "Shift+ArrowRight", "+", "-", "Home",
    "Escape", "PageUp", "PageDown", "b", "c", "d", "f", "u", "n", "p", "s", "o", "j", "k", "x",
)  # fmt: skip
WORDS = ("yesterday", "2025-10-11", "0.3", "<script>", "=1+1", "-", "2031-01-01", "", "Ana")


def resident_mib(pid: int) -> float:
    text = Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    return int(re.search(r"VmRSS:\s+(\d+)", text)[1]) / 1024


def click(page, draw: random.Random) -> str:
    things = page.locator(
        "a:visible, button:visible, summary:visible, input[type=checkbox]:visible"
    )
    count = things.count()
    if count:
        things.nth(draw.randrange(count)).click(timeout=1500, no_wait_after=True)
    return "click"


def drag(page, draw: random.Random) -> str:
    plots = page.locator("svg.plot:visible, #lanes svg:visible")
    count = plots.count()
    if count:
        box = plots.nth(draw.randrange(count)).bounding_box()
        if box is not None:
            y = box["y"] + box["height"] / 2
            page.mouse.move(box["x"] + draw.random() * box["width"], y)
            page.mouse.down()
            page.mouse.move(box["x"] + draw.random() * box["width"], y, steps=3)
            page.mouse.up()
    return "drag"


def press(page, draw: random.Random) -> str:
    page.keyboard.press(draw.choice(KEYS))
    return "key"


def write(page, draw: random.Random) -> str:
    fields = page.locator("input:visible:not([type=checkbox]), textarea:visible")
    count = fields.count()
    if count:
        fields.nth(draw.randrange(count)).fill(draw.choice(WORDS), timeout=1500)
    return "typing"


class Watch:
    """What pages said, and how the server answered."""

    def __init__(self, page, own: str) -> None:
        self.said: list[str] = []
        self.statuses: Counter[int] = Counter()
        page.on("pageerror", lambda error: self.said.append(f"error: {error}"))
        page.on("console", self._console)
        page.on("response", lambda answer: self.statuses.update([answer.status]))
        page.on("request", lambda request: self._asked(request.url, own))
        page.on("dialog", lambda dialog: dialog.dismiss())

    def _console(self, message) -> None:
        if "status of 4" not in message.text:  # what was typed wrong is answered so
            self.said.append(f"console: {message.text}")

    def _asked(self, url: str, own: str) -> None:
        # The browser's own viewer of PDF asks itself for its parts.
        if urlsplit(url).scheme.startswith(("http", "ws")) and urlsplit(url).netloc != own:
            self.said.append(f"asked: {url}")


def play(page, address: str, pid: int, draw: random.Random, minutes: float):
    """Do at random what people do; how often each, and the memory of the desk [MiB]."""
    done: Counter[str] = Counter()
    memory: list[float] = []
    page.goto(address)
    end, look = time.monotonic() + 60 * minutes, time.monotonic()
    acts = (click, click, drag, press, press, press, write)
    while time.monotonic() < end:
        try:
            done[draw.choice(acts)(page, draw)] += 1
            if draw.random() < 0.02 or not page.url.startswith(address):
                page.goto(address)
        except Error as error:
            # What was to be clicked went away, or is covered: a person meets that, too.
            done["missed"] += 1
            if "closed" in str(error):
                raise
        if time.monotonic() > look:
            memory.append(resident_mib(pid))
            look += 60 * minutes / 12
    return done, memory


def copied(mill: Path, folder: Path) -> Path:
    """Description of a copy of the mill."""
    known = load_mill(mill)
    shutil.copytree(known.store_path, folder / "store")
    path = folder / "store" / known.config_path.name
    if not path.exists():
        shutil.copy(known.config_path, path)
    return path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("mill", type=Path)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        path = copied(asked.mill, Path(folder))
        command = [sys.executable, "-m", "pipeline.cli", "desk", str(path), "--no-browser"]
        faults = (Path(folder) / "stderr").open("w+", encoding="utf-8")
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=faults, text=True, cwd=ROOT
        )
        address = re.search(r"http://\S+", process.stdout.readline())[0]
        where = os.environ.get("CHROMIUM") or shutil.which("chromium")
        browser = playwright.chromium.launch(executable_path=where, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        watch = Watch(page, urlsplit(address).netloc)
        draw = random.Random(asked.seed)
        try:
            done, memory = play(page, address, process.pid, draw, asked.minutes)
        finally:
            browser.close()
            process.send_signal(signal.SIGINT)
            process.wait()
        faults.seek(0)
        print(f"seed {asked.seed}, {asked.minutes:g} min: {dict(done)}; "
              f"answers {dict(watch.statuses)}")  # fmt: skip
        print(f"said by pages: {watch.said or 'nothing'}; by the server: "
              f"{faults.read().strip() or 'nothing'}")  # fmt: skip
        print("memory of the desk [MiB]: " + ", ".join(f"{m:.0f}" for m in memory))


if __name__ == "__main__":
    main()
