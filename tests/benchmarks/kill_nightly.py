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
import os
import random
import re
import resource
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path

import duckdb

ROOT = Path(__file__).resolve().parents[2]
#: What the clock said, and so differs between two runs.
CLOCK = {"runs": ("started_at", "finished_at")}
#: How long a nightly run waits for a held database here [s].
PATIENCE_S = 1.0
TABLES = ("findings", "runs", "sources", "pending_days", "sensor_health", "mills", "verdicts")
SEEN = ("findings", "runs", "sensor_health", "mills")


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
    parser.add_argument("--forked", action="store_true", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.forked:
        return run_forked()
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


# One trial ------------------------------------------------------------------------------------


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


# States ---------------------------------------------------------------------------------------


def state(store: Path) -> dict[str, object]:
    """All that must not depend on a disturbance."""
    lake = store / "lake"
    found: dict[str, object] = {
        p.relative_to(lake).as_posix(): p.read_bytes() for p in lake.rglob("*") if p.is_file()
    }
    for path in ("findings.duckdb", "findings_published.duckdb"):
        with duckdb.connect(store / path, read_only=True) as connection:
            for table in TABLES:
                found[table if path == "findings.duckdb" else f"published {table}"] = rows_of(
                    connection, table
                )
    letters = [json.loads(p.read_text()) for p in sorted((store / "outbox").glob("*/*.json"))]
    ours = [x for x in letters if not x["subject"].startswith("No ")]
    found["outbox"] = sorted((x["recipient"], x["subject"]) for x in ours)
    found["not sent"] = [x["subject"] for x in ours if x["state"] not in {"sent", "unsure"}]
    found["unsure"] = sum(x["state"] == "unsure" for x in ours)
    found["left over"] = sorted(p.name for p in store.rglob("*.part"))
    return found


def rows_of(connection: duckdb.DuckDBPyConnection, table: str) -> list[str]:
    columns = [x[0] for x in connection.execute(f"DESCRIBE {table}").fetchall()]
    kept = [name for name in columns if name not in CLOCK.get(table, ())]
    rows = connection.execute(f"SELECT {', '.join(kept)} FROM {table}").fetchall()
    return sorted(map(repr, rows))


def differences(found: dict[str, object], expected: dict[str, object]) -> list[str]:
    """What differs, with the first rows that do."""
    told = []
    for key in sorted(found.keys() | expected.keys()):
        now, then = found.get(key), expected.get(key)
        if now == then:
            continue
        if isinstance(now, list) and isinstance(then, list):
            more = [str(x)[:300] for x in now if x not in then][:2]
            less = [str(x)[:300] for x in then if x not in now][:2]
            told.append(f"{key}: {more} in place of {less}")
        else:
            told.append(key)
    return told


def look(store: Path) -> str:
    """What a reader sees of the whole published copy, in one text."""
    with duckdb.connect(store / "findings_published.duckdb", read_only=True) as connection:
        connection.execute("SELECT * FROM for_chemist").fetchall()
        tables = [[r for r in rows_of(connection, t) if "'failed'" not in r] for t in SEEN]
    return json.dumps(tables)


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


# Runs in processes of their own -----------------------------------------------------------------


class Runs:
    """Starts nightly runs quickly: copies of one process that has everything loaded already."""

    def __enter__(self) -> Runs:
        command = [sys.executable, __file__, "--forked"]
        self._mother = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert self._mother.stdout.readline() == "ready\n"
        return self

    def __exit__(self, *_: object) -> None:
        self._mother.stdin.close()
        self._mother.stdout.close()
        self._mother.wait()

    def start(self, store: Path, limit: int | None = None, what: str = "nightly") -> Runs:
        self._tell({"store": str(store), "limit": limit, "what": what})
        self._child = int(self._mother.stdout.readline())
        return self

    def ended(self, after_s: float | None = None) -> int:
        """Exit code of the run, killed after a while."""
        if after_s is not None:
            until = time.monotonic() + after_s
            while time.monotonic() < until and not self._over():
                time.sleep(0.005)
            with suppress(ProcessLookupError):
                os.kill(self._child, signal.SIGKILL)
        self._tell({"wait": True})
        return int(self._mother.stdout.readline())

    def _over(self) -> bool:
        """Whether the run ended by itself, where the system says so."""
        with suppress(OSError, IndexError):
            return (
                Path(f"/proc/{self._child}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
            )
        return False

    def _tell(self, what: dict[str, object]) -> None:
        self._mother.stdin.write(json.dumps(what) + "\n")
        self._mother.stdin.flush()

    @staticmethod
    def errors(store: Path) -> str:
        path = store.parent / f"{store.name}.err"
        return path.read_text()[-1500:] if path.exists() else ""


def run_forked() -> int:
    """Be the process that the runs are copies of: load everything, work at nothing."""
    import altair  # noqa: F401
    import plutoprint  # noqa: F401

    from pipeline import chains, store  # noqa: F401

    answer = sys.stdout
    print("ready", file=answer, flush=True)
    child = 0
    for line in sys.stdin:
        asked = json.loads(line)
        if "wait" in asked:
            code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
            print(code, file=answer, flush=True)
            continue
        child = os.fork()
        if child == 0:
            run_here(asked)
        print(child, file=answer, flush=True)
    return 0


def run_here(asked: dict[str, object]) -> None:
    """Do a run in this process, and end it."""
    store = Path(asked["store"])
    errors = os.open(store.parent / f"{store.name}.err", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    os.dup2(errors, 2)
    os.dup2(errors, 1)
    import pipeline.store as store_module
    from pipeline.cli import run

    patient = store_module.opened
    store_module.opened = lambda path, **how: patient(path, **how | {"patience_s": PATIENCE_S})
    if asked["limit"]:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (asked["limit"], asked["limit"]))
    code = 1
    try:
        code = run([asked["what"], str(store / "mill.toml")])
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


# Disturbances -----------------------------------------------------------------------------------


@contextmanager
def small_disk(folder: Path, rng: random.Random):
    """A small file system to fill, and a way to enlarge it; without one, a limit on files."""
    folder.mkdir()
    made = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=24m", "lostpol-test", str(folder)],
        capture_output=True,
        check=False,
    )
    if made.returncode == 0:
        grow = ["mount", "-o", "remount,size=200m", str(folder)]
        try:
            yield folder, lambda: subprocess.run(grow, check=True), lambda _rng: None
        finally:
            subprocess.run(["umount", str(folder)], check=True)
        return
    # One size for all files: some writes succeed, the larger ones do not.
    sizes = lambda rng: round(10 ** rng.uniform(3.0, 6.3))  # noqa: E731
    yield folder, lambda: None, sizes


def fill(disk: Path, share: float, limit) -> None:
    """Leave some of the room that a run needs, at most a few MiB."""
    if limit(random.Random(0)) is not None:
        return
    room = shutil.disk_usage(disk).free
    left = round(share * (8 << 20))
    (disk / "ballast").write_bytes(b"\0" * max(0, room - left))


@contextmanager
def held_open(store: Path, for_s: float | None):
    """Hold the live database open, as an SQL client would, for a while or to the end."""
    code = (
        "import duckdb, sys, time\n"
        "while True:\n"
        "    try:\n"
        "        held = duckdb.connect(sys.argv[1], read_only=True); break\n"
        "    except duckdb.Error: time.sleep(0.01)\n"
        "time.sleep(float(sys.argv[2]))"
    )
    path = str(store / "findings.duckdb")
    holder = subprocess.Popen([sys.executable, "-c", code, path, str(for_s or 3600)])
    try:
        yield
    finally:
        holder.kill()
        holder.wait()


@contextmanager
def mail_server():
    """Take all mail at once; gives the port, and a list of who was given what."""
    from aiosmtpd.controller import Controller

    taken: list[str] = []

    class Ledger:
        async def handle_DATA(self, _server, _session, envelope):  # noqa: N802
            name = re.search(rb"(?mi)^message-id: *(\S+)", envelope.content)[1].decode()
            taken.append(f"{name} {envelope.rcpt_tos[0]} {envelope.mail_from}")
            return "250 taken"

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = Controller(Ledger(), hostname="127.0.0.1", port=port)
    server.start()
    try:
        yield port, taken
    finally:
        server.stop()


# The store --------------------------------------------------------------------------------------


def copied(before: Path, target: Path) -> Path:
    """Copy a store; its letters say from which copy they come, so that each counts by itself."""
    shutil.copytree(before, target)
    path = target / "mill.toml"
    text = path.read_text(encoding="utf-8")
    sender = f"{target.parent.name}.{target.name}@x.example".replace("_", "-")
    path.write_text(re.sub(r"(?m)^sender = .*$", f'sender = "{sender}"', text), encoding="utf-8")
    return target


def prepared(folder: Path, port: int, runs: Runs) -> Path:
    """Make a small mill with two days worked out, and exports of a third and a late one waiting."""
    import polars as pl

    before = folder / "before"
    (before / "inbox").mkdir(parents=True)
    (before / "mill.toml").write_text(description(port), encoding="utf-8")
    week = pl.read_parquet(ROOT / "sample_parquet" / "tags_week1.parquet")
    begin = week["time"].min() + timedelta(days=3, hours=6)
    thin = (
        week.filter(pl.col("time") >= begin)
        .with_columns(pl.col("time").dt.truncate("3m").alias("at"))
        .unique(["tag", "at"], keep="first", maintain_order=True)
        .drop("at")
    )
    age_h = (pl.col("time") - begin).dt.total_hours()
    late = (pl.col("tag") == "ST.TI304") & (age_h == 20)
    thin.filter((age_h < 24) & ~late).write_parquet(before / "inbox" / "known.parquet")
    settle(before)
    if runs.start(before).ended() != 0:
        raise RuntimeError(f"the store could not be prepared: {runs.errors(before)}")
    for box in (before / "outbox").iterdir():
        shutil.rmtree(box)
    thin.filter(late).write_parquet(before / "inbox" / "late.parquet")
    new = thin.filter((age_h >= 24) & (age_h < 40))
    new.with_columns(pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%S%.3fZ")).write_csv(
        before / "inbox" / "new.csv"
    )
    settle(before)
    return before


def settle(before: Path) -> None:
    """Give exports of the inbox an age at which they have surely arrived."""
    for path in (before / "inbox").iterdir():
        os.utime(path, (1.7e9, 1.7e9))


def description(port: int) -> str:
    """Brindlewater with its store beside it, a short memory, and mail to a server of this test."""
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    text = re.sub(r'(?m)^store = ".*"$', 'store = "."', text)
    text = re.sub(r'(?m)^inbox = ".*"$', 'inbox = "inbox"', text)
    mail = (
        f'[mail]\nhost = "127.0.0.1"\nport = {port}\nstart_tls = false\n'
        'sender = "lostpol@x.example"\nrecipients = ["a@x.example", "b@x.example"]\n\n'
    )
    start, end = text.index("[mail]"), text.index("[exports]")
    return text[:start] + mail + text[end:]


if __name__ == "__main__":
    sys.exit(main())
