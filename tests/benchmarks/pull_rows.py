"""Rows a second and memory of an import, beside the bare scan of the same file.

    python tests/benchmarks/pull_rows.py                          # 5 million readings, a minute
    python tests/benchmarks/pull_rows.py --readings 100000000     # needs about 15 GB of disk

Writes 40 tags, one reading each 5 s, good quality but for one in a thousand, as plain long CSV, as
gzipped CSV and as Parquet, into a temporary folder. Each is imported into an empty lake by the
same stage as a user's data, in a process of its own, and printed beside the bare scan: every value
of every column read with its type, by the fastest of polars, pyarrow and duckdb in the same run,
each in a process of its own too. The aim is 2.5 times the bare scan and less than 2 GiB.
Processor time is printed as well: on a machine that others use, its ratio is the steadier one.
"""

from __future__ import annotations

import argparse
import gzip
import json
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.dataset as ds
import pyarrow.parquet as pq

from pipeline.mill.description import load_mill
from pipeline.pull.pull import pull_files

ROOT = Path(__file__).resolve().parents[2]
STEP_US = 5_000_000
START_US = int(datetime(2025, 10, 6, tzinfo=UTC).timestamp()) * 1_000_000
FORMS = {"plain CSV": "tags.csv", "gzipped CSV": "tags.csv.gz", "Parquet": "tags.parquet"}
AIM_RATIO, AIM_GIB = 2.5, 2.0


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawTextHelpFormatter
    )
    parser.add_argument("--readings", type=int, default=5_000_000)
    parser.add_argument("--folder", type=Path, help="where to write; default: temporary")
    parser.add_argument("--forms", nargs="*", choices=list(FORMS), default=list(FORMS))
    parser.add_argument("--job", nargs="+", help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.job:
        print(json.dumps(job(*args.job)))
        return 0
    with tempfile.TemporaryDirectory(dir=args.folder) as name:
        return compare(Path(name), args.readings, args.forms)


def compare(folder: Path, readings: int, forms: list[str]) -> int:
    need = 150 * readings
    if shutil.disk_usage(folder).free < need:
        print(f"not enough disk: {need / 1e9:.0f} GB are needed in {folder}")
        return 1
    tags = describe(folder)
    written = write_exports(folder, readings, tags)
    print(f"{written:,} readings of {len(tags)} tags")
    print(
        f"{'':12s} {'bare scan':>26s} {'import':>9s} {'rows/s':>9s} {'ratio':>6s} {'peak':>9s}"
        f" {'ratio of processor time':>24s}"
    )
    met = True
    for form in forms:
        path = folder / FORMS[form]
        found = {scan: timed(scan, path) for scan in ("polars", "pyarrow", "duckdb")}
        scans = {scan: told["seconds"] for scan, told in found.items()}
        best = min(scans, key=lambda scan: scans[scan])
        told = timed("import", path)
        import_s, peak_gib = told["seconds"], told["peak_gib"]
        shutil.rmtree(folder / "lake")
        ratio = import_s / scans[best]
        cpu_ratio = told["cpu_s"] / min(scan["cpu_s"] for scan in found.values())
        met &= ratio <= AIM_RATIO and peak_gib < AIM_GIB
        print(
            f"{form:12s} {scans[best]:8.2f} s by {best:>8s} {'':4s} {import_s:7.2f} s"
            f" {written / import_s / 1e6:7.2f} M {ratio:6.2f} {peak_gib:5.2f} GiB"
            f" {cpu_ratio:12.2f}",
            flush=True,
        )
        others = ", ".join(f"{scan} {seconds:.2f} s" for scan, seconds in scans.items())
        print(f"{'':12s} ({others}; file {path.stat().st_size / 1e6:.0f} MB)")
    print(
        f"Aim, {AIM_RATIO:g} times the bare scan and {AIM_GIB:g} GiB: {'met' if met else 'missed'}"
    )
    return 0


def timed(work: str, path: Path) -> dict[str, float]:
    """Time [s], processor time [s] and peak memory [GiB] of work in a process of its own."""
    command = [sys.executable, __file__, "--job", work, str(path)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    return json.loads(done.stdout)


def job(work: str, path: str) -> dict[str, float]:
    started, used = time.perf_counter(), time.process_time()
    {"import": import_file, "polars": by_polars, "pyarrow": by_pyarrow, "duckdb": by_duckdb}[work](
        Path(path)
    )
    seconds, cpu_s = time.perf_counter() - started, time.process_time() - used
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    gib = peak / (1 << (30 if sys.platform == "darwin" else 20))
    return {"seconds": seconds, "cpu_s": cpu_s, "peak_gib": gib}


def import_file(path: Path) -> None:
    result = pull_files(load_mill(path.parent / "mill.toml"), [path])
    (ledger,) = result.sources
    assert ledger.rows_read == ledger.kept


def by_polars(path: Path) -> None:
    kinds = {
        "time": pl.String,
        "tag": pl.Categorical,
        "value": pl.Float64,
        "quality": pl.Categorical,
    }
    if path.suffix == ".parquet":
        frame = pl.scan_parquet(path)
    else:
        frame = pl.scan_csv(path, schema=kinds).with_columns(
            pl.col("time").str.to_datetime("%Y-%m-%dT%H:%M:%SZ", time_zone="UTC")
        )
    frame.select(
        pl.col("time").max(), pl.col("value").sum(), pl.col("tag", "quality").is_null().sum()
    ).collect(engine="streaming")


def by_pyarrow(path: Path) -> None:
    word = pa.dictionary(pa.int32(), pa.string())
    if path.suffix == ".parquet":
        scan = ds.dataset(
            path, format=ds.ParquetFileFormat(dictionary_columns=["tag", "quality"])
        ).scanner()
        for _ in scan.to_batches():
            pass
        return
    kinds = {"time": pa.timestamp("us", "UTC"), "tag": word, "value": pa.float64(), "quality": word}
    if path.suffix == ".csv":
        form = ds.CsvFileFormat(convert_options=pc.ConvertOptions(column_types=kinds))
        for _ in ds.dataset(path, format=form).scanner().to_batches():
            pass
        return
    for _ in pc.open_csv(path, convert_options=pc.ConvertOptions(column_types=kinds)):
        pass


def by_duckdb(path: Path) -> None:
    kinds = "{'time': 'TIMESTAMP', 'tag': 'VARCHAR', 'value': 'DOUBLE', 'quality': 'VARCHAR'}"
    source = (
        f"read_parquet('{path}')"
        if path.suffix == ".parquet"
        else f"read_csv('{path}', columns={kinds}, header=true, delim=',')"
    )
    wanted = "max(time), sum(value), max(tag), max(quality)"
    duckdb.connect().execute(f"SELECT {wanted} FROM {source}").fetchall()


def describe(folder: Path) -> list[str]:
    """Describe the invented mill with 40 tags; its store is the folder."""
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    start, end = text.index("[mail]"), text.index("[exports]")
    text = re.sub(r'(?m)^store = ".*"$', 'store = "."', text[:start] + text[end:])
    (folder / "mill.toml").write_text(text, encoding="utf-8")
    known = sorted(load_mill(folder / "mill.toml").unit_changes)
    assert len(known) >= 40
    return known[:40]


def write_exports(folder: Path, readings: int, tags: list[str]) -> int:
    """Write the three files, a day at a time; gives the readings written."""
    rng = np.random.default_rng(7)
    steps = readings // len(tags)
    words = pa.array(["good", "uncertain"])
    names = pa.array(tags)
    with (
        (folder / FORMS["plain CSV"]).open("wb") as plain,
        gzip.open(folder / FORMS["gzipped CSV"], "wb", compresslevel=1) as packed,
        pq.ParquetWriter(folder / FORMS["Parquet"], _SCHEMA, compression="zstd") as parquet,
    ):
        plain.write(b"time,tag,value,quality\n")
        packed.write(b"time,tag,value,quality\n")
        for first in range(0, steps, 17_280):
            count = min(17_280, steps - first)
            at = START_US + STEP_US * np.repeat(np.arange(first, first + count), len(tags))
            poor = (rng.random(count * len(tags)) < 0.001).astype(np.int32)
            table = pa.Table.from_arrays(
                [
                    pa.array(at).cast(pa.timestamp("us", "UTC")),
                    pa.DictionaryArray.from_arrays(
                        np.tile(np.arange(len(tags), dtype=np.int32), count), names
                    ),
                    pa.array(np.round(70 + rng.normal(size=count * len(tags)), 3)),
                    pa.DictionaryArray.from_arrays(poor, words),
                ],
                schema=_SCHEMA,
            )
            parquet.write_table(table)
            frame = pl.from_arrow(table).with_columns(
                pl.col("time").dt.strftime("%Y-%m-%dT%H:%M:%SZ")
            )
            text = frame.write_csv(include_header=False).encode()
            plain.write(text)
            packed.write(text)
    return steps * len(tags)


_SCHEMA = pa.schema(
    [
        ("time", pa.timestamp("us", "UTC")),
        ("tag", pa.dictionary(pa.int32(), pa.string())),
        ("value", pa.float64()),
        ("quality", pa.dictionary(pa.int32(), pa.string())),
    ]
)


if __name__ == "__main__":
    sys.exit(main())
