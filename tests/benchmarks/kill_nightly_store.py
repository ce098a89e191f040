"""The store that kill_nightly.py copies for each trial, and what of it must come out alike."""

from __future__ import annotations

import json
import os
import re
import shutil
from datetime import timedelta
from pathlib import Path

import duckdb
import polars as pl
from kill_nightly_runs import Runs  # beside this file

ROOT = Path(__file__).resolve().parents[2]
#: What the clock said, and so differs between two runs.
CLOCK = {"runs": ("started_at", "finished_at")}
TABLES = ("findings", "runs", "sources", "pending_days", "sensor_health", "mills", "verdicts")
SEEN = ("findings", "runs", "sensor_health", "mills")


def prepared(folder: Path, port: int, runs: Runs) -> Path:
    """Make a small mill with two days worked out, and exports of a third and a late one waiting."""
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


def copied(before: Path, target: Path) -> Path:
    """Copy a store; its letters say from which copy they come, so that each counts by itself."""
    shutil.copytree(before, target)
    path = target / "mill.toml"
    text = path.read_text(encoding="utf-8")
    sender = f"{target.parent.name}.{target.name}@x.example".replace("_", "-")
    path.write_text(re.sub(r"(?m)^sender = .*$", f'sender = "{sender}"', text), encoding="utf-8")
    return target


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
    whole = [p for p in (store / "outbox").glob("*/*.json") if p.parent.suffix != ".part"]
    letters = [json.loads(p.read_text()) for p in sorted(whole)]
    ours = [x for x in letters if not x["subject"].startswith("No ")]
    found["outbox"] = sorted((x["recipient"], x["subject"]) for x in ours)
    found["not sent"] = [x["subject"] for x in ours if x["state"] not in {"sent", "unsure"}]
    found["unsure"] = sum(x["state"] == "unsure" for x in ours)
    # What a kill left of a letter goes when nobody can be writing it any more, after a minute.
    left = (p for p in store.rglob("*.part") if p.parent != store / "outbox")
    found["left over"] = sorted(p.name for p in left)
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
