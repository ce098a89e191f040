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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("mill", type=Path)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    draw = random.Random(asked.seed)
    with tempfile.TemporaryDirectory() as folder:
        known = load_mill(asked.mill)
        copy = Path(folder) / "store"
        shutil.copytree(known.store_path, copy)
        path = copy / known.config_path.name
        if not path.exists():
            shutil.copy(known.config_path, path)
        command = [sys.executable, "-m", "pipeline.cli", "desk", str(path), "--no-browser"]
        faults = (Path(folder) / "stderr").open("w+", encoding="utf-8")
        process = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=faults, text=True, cwd=ROOT
        )
        address = re.search(r"http://\S+", process.stdout.readline())[0]
        said: list[str] = []
        done, statuses = Counter(), Counter()
        memory: list[float] = []
        with sync_playwright() as playwright:
            where = os.environ.get("CHROMIUM") or shutil.which("chromium")
            browser = playwright.chromium.launch(executable_path=where, args=["--no-sandbox"])
            page = browser.new_page(viewport={"width": 1280, "height": 900})
            own = urlsplit(address).netloc
            page.on("pageerror", lambda error: said.append(f"error: {error}"))
            page.on("console", lambda m: said.append(f"console: {m.text}")
                    if "status of 4" not in m.text else None)  # fmt: skip
            page.on("response", lambda r: statuses.update([r.status]))
            page.on("request", lambda r: said.append(f"asked: {r.url}")
                    if urlsplit(r.url).netloc not in (own, "") else None)  # fmt: skip
            page.on("dialog", lambda dialog: dialog.dismiss())
            page.goto(address)
            end, look = time.monotonic() + 60 * asked.minutes, time.monotonic()
            while time.monotonic() < end:
                try:
                    done[
                        draw.choice((click, click, drag, press, press, press, write))(page, draw)
                    ] += 1
                except Error as error:
                    # What was to be clicked went away, or is covered: a person meets that, too.
                    done["missed"] += 1
                    if "Target closed" in str(error):
                        raise
                if draw.random() < 0.02 or urlsplit(page.url).netloc != own:
                    page.goto(address)
                if time.monotonic() > look:
                    memory.append(resident_mib(process.pid))
                    look += 60 * asked.minutes / 12
            browser.close()
        process.terminate()
        process.wait()
        faults.seek(0)
        noise = [line for line in faults if "Stopped by the system" not in line
                 and not line.startswith(("Where:", "Next:"))]  # fmt: skip
        print(f"seed {asked.seed}, {asked.minutes:g} min: {dict(done)}; answers {dict(statuses)}")
        print(f"said by pages: {said or 'nothing'}; by the server: {''.join(noise) or 'nothing'}")
        print("memory of the desk [MiB]: " + ", ".join(f"{m:.0f}" for m in memory))


if __name__ == "__main__":
    main()
