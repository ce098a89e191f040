"""Kill nightly runs at random moments; the next run must leave what an undisturbed one leaves.

    python tests/benchmarks/kill_nightly.py                # 10 kills, 3 full disks, 3 held stores
    python tests/benchmarks/kill_nightly.py --kills 200 --full 20 --held 10

A store that holds two days is copied; a nightly run (inbox, minutes, search, report, mail) is
killed without warning, one to four times over, then left to its end. Lake, findings and outbox
must equal those of a run that nobody disturbed: the lake byte for byte, every table but for the
columns that say what the clock said (``runs.started_at``, ``runs.finished_at``) and the table
``stages``, which is about the attempts themselves. The outbox is compared by what is sent to
whom; the hour in a letter's head is when it was written. A letter may be unsure in place of sent
(``pipeline.mail`` says why nobody can do better); none may be taken twice.

All the while a reader opens the published copy anew, again and again. What it sees must be the
whole of the state before or after the run, and opening must never fail.

The same with a disk that runs full (a small file system in memory where the machine lets us make
one, else a limit on the size of files) and with a program that holds the database open.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import signal
import sys
import tempfile
import threading
import time
from collections import Counter
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

# Beside this file:
from kill_nightly_runs import Runs
from kill_nightly_store import copied, differences, look, prepared, state
from kill_nightly_trouble import fill, held_open, mail_server, small_disk


@dataclass
class Outcome:
    """What became of the trials."""

    kills: int = 0
    full: int = 0
    held: int = 0
    ended_first: int = 0
    looks: int = 0
    unsure: int = 0
    wrong: list[str] = field(default_factory=list)
    unread: list[str] = field(default_factory=list)
    fell: Counter[str] = field(default_factory=Counter)
    said: Counter[str] = field(default_factory=Counter)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--kills", type=int, default=10)
    parser.add_argument("--full", type=int, default=3, help="runs on a disk that runs full")
    parser.add_argument("--held", type=int, default=3, help="runs while another holds the database")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        outcome = disturb(Path(name), args.kills, args.full, args.held, args.seed, say=print)
    print(f"{outcome.kills} kills, {outcome.full} full disks, {outcome.held} held databases")
    print(f"{outcome.ended_first} runs ended before they were disturbed")
    print("Where kills fell: " + ", ".join(f"{k} {n}" for k, n in sorted(outcome.fell.items())))
    print("Exit codes of runs that were not killed: " + str(dict(sorted(outcome.said.items()))))
    print(f"Looks at the published copy: {outcome.looks}; failed or half: {len(outcome.unread)}")
    print(f"Letters whose fate a kill left unknown: {outcome.unsure}")
    print(f"Lake, findings or outbox not as undisturbed: {len(outcome.wrong)}")
    for line in [*outcome.wrong, *sorted(set(outcome.unread))]:
        print("  " + line)
    return 1 if outcome.wrong or outcome.unread else 0


def disturb(folder: Path, kills: int, full: int, held: int, seed: int = 1, say=None) -> Outcome:
    """Run all trials below `folder`; see the head of this file."""
    rng, outcome = random.Random(seed), Outcome()
    with mail_server() as (port, taken), Runs() as runs:
        before = prepared(folder, port, runs)
        expected, lasts_s, seen = undisturbed(folder, before, runs)
        trial = Trial(folder, before, expected, lasts_s, seen, runs, rng, outcome)
        for number in range(full):
            trial.full_disk(f"full_{number}")
        for number in range(held):
            trial.held(f"held_{number}")
        if say:
            say(
                f"  {full} full disks, {held} held databases, {len(outcome.wrong)} wrong",
                flush=True,
            )
        number = 0
        while outcome.kills < kills:
            number += 1
            trial.killed(f"kill_{number}", kills - outcome.kills)
            if say:
                say(f"  {outcome.kills} kills, {len(outcome.wrong)} wrong", flush=True)
        twice = [letter for letter, times in Counter(taken).items() if times > 1]
        outcome.wrong += [f"taken twice by the mail server: {letter}" for letter in twice]
    return outcome


@dataclass
class Trial:
    """Ways of disturbing a run, each followed by a run that is left alone."""

    folder: Path
    before: Path
    expected: dict[str, object]
    lasts_s: float
    seen: set[str]
    runs: Runs
    rng: random.Random
    outcome: Outcome

    def killed(self, name: str, most: int) -> None:
        store = copied(self.before, self.folder / name)
        with reading(store, self):
            for _ in range(min(most, self.rng.choice((1, 2, 3, 4)))):
                code = self.runs.start(store).ended(after_s=self.rng.uniform(0.0, self.lasts_s))
                if code == -signal.SIGKILL:
                    self.outcome.kills += 1
                    self.outcome.fell[stage_reached(store)] += 1
                else:
                    self.outcome.ended_first += 1
            self.finish(store, name)
        shutil.rmtree(store)

    def full_disk(self, name: str) -> None:
        with small_disk(self.folder / name, self.rng) as (disk, more_room, limit):
            store = copied(self.before, disk / "store")
            fill(disk, self.rng.uniform(0.0, 0.6), limit)
            with reading(store, self):
                code = self.runs.start(store, limit=limit(self.rng)).ended()
                self.outcome.full += 1
                self.outcome.said[f"full disk {code}"] += 1
                if code not in {0, 5, 6}:
                    self.outcome.wrong.append(
                        f"{name}: ended with {code}: {self.runs.errors(store)}"
                    )
                more_room()
                self.finish(store, name)

    def held(self, name: str) -> None:
        store = copied(self.before, self.folder / name)
        with reading(store, self):
            run = self.runs.start(store)
            time.sleep(self.rng.uniform(0.0, 0.7 * self.lasts_s))
            with held_open(store, self.rng.choice((0.3, 3.0, None))):
                code = run.ended()
            self.outcome.held += 1
            self.outcome.said[f"held {code}"] += 1
            if code not in {0, 4}:
                self.outcome.wrong.append(f"{name}: ended with {code}: {self.runs.errors(store)}")
            self.finish(store, name)
        shutil.rmtree(store)

    def finish(self, store: Path, name: str) -> None:
        """Run once more, undisturbed, and compare."""
        begun = time.monotonic()
        code = self.runs.start(store).ended()
        # A busy machine is not always equally busy; kills are to fall within a run.
        self.lasts_s = min(self.lasts_s, 1.5 * (time.monotonic() - begun))
        # Whatever a kill left unsure is told of once, by the run after it.
        if code not in {0, 5}:
            self.outcome.wrong.append(f"{name}: the next run ended with {code}")
        found = state(store)
        self.outcome.unsure += found.pop("unsure")
        if found != self.expected:
            self.outcome.wrong.append(f"{name}: {differences(found, self.expected)}")


def undisturbed(
    folder: Path, before: Path, runs: Runs
) -> tuple[dict[str, object], float, set[str]]:
    """State after a run that nobody disturbs, how long one takes, and what readers may see."""
    store = copied(before, folder / "undisturbed")
    seen = {look(store)}
    begun = time.monotonic()
    code = runs.start(store).ended()
    lasts_s = time.monotonic() - begun
    if code != 0:
        raise RuntimeError(f"the undisturbed run ended with {code}: {runs.errors(store)}")
    expected = state(store)
    if expected.pop("unsure") or not expected["findings"]:
        raise RuntimeError("the undisturbed run found nothing, or its mail was not sent")
    return expected, lasts_s, seen | {look(store)}


@contextmanager
def reading(store: Path, trial: Trial):
    """Look at the published copy over and over while the store is written to."""
    stop, outcome = threading.Event(), trial.outcome

    def read() -> None:
        while not stop.wait(0.05):
            try:
                half = look(store) not in trial.seen
            except Exception as error:  # noqa: BLE001  (whatever fails is a finding here)
                outcome.unread.append(f"{store.parent.name}/{store.name}: {str(error)[:200]}")
            else:
                outcome.looks += 1
                if half:
                    outcome.unread.append(f"{store.name}: neither the state before nor after")

    reader = threading.Thread(target=read)
    reader.start()
    try:
        yield
    finally:
        stop.set()
        reader.join()


def stage_reached(store: Path) -> str:
    """Stage in which a run was killed, as far as its log tells."""
    after = {"run started": "pull", "pull": "sources", "sources": "derive", "derive": "detect"}
    after |= {"detect": "report", "report": "send", "send": "end", "run ended": "after its end"}
    with suppress(OSError, IndexError, ValueError):
        last = json.loads((store / "log" / "lostpol.jsonl").read_text().splitlines()[-1])
        return after.get(last.get("stage") or last["event"], "elsewhere")
    return "before the start"


if __name__ == "__main__":
    sys.exit(main())
