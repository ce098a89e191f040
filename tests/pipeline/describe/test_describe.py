"""Drafts of descriptions: most tags named for what they are, and the draft loads as it stands.

The levels by which tags are guessed are common practice and lie near those of the sample mill;
shares measured here are no promise for another mill.
"""

import random
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import polars as pl
import pytest

from pipeline.base.errors import ConfigError
from pipeline.cli.app import run
from pipeline.cli.check import check_exports
from pipeline.describe.describe import describe_exports
from pipeline.intake.remarks import quoted
from pipeline.mill.description import load_mill
from pipeline.places.lags import lag_min
from pipeline.places.look import TagLook

ROOT = Path(__file__).resolve().parents[3]
MILL = load_mill(ROOT / "configs" / "demo_mill.toml")
TRUTH = {s.tag: (s.quantity, s.place, s.port) for s in MILL.station.signals}
UNITS = {s.tag: s.unit for s in MILL.station.signals}
LAB = {s.tag: (s.analyte, s.place, s.port) for s in MILL.station.lab}


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    path = tmp_path_factory.mktemp("lab") / "lab.parquet"
    whole = pl.read_parquet(ROOT / "sample_parquet" / "lab.parquet")
    whole.filter(pl.col("sampled") < "2025-10-20").write_parquet(path)
    return path


def exports(folder, *, opaque, units):
    """A sample week under other names; the true tag of each name."""
    order = sorted(TRUTH)
    random.Random(11).shuffle(order)
    names = {tag: f"N{n:04d}" if opaque else tag for n, tag in enumerate(order)}
    frame = pl.read_parquet(ROOT / "sample_parquet" / "tags_week2.parquet")
    given = {names[tag]: unit for tag, unit in UNITS.items()}
    frame = frame.with_columns(pl.col("tag").replace(names))
    if units:
        frame = frame.with_columns(unit=pl.col("tag").replace(given))
    frame.write_parquet(folder / "week.parquet")
    return folder / "week.parquet", {name: tag for tag, name in names.items()}


@pytest.mark.parametrize(
    ("opaque", "units", "least_quantities", "least_places"),
    [(False, True, 31, 31), (False, False, 30, 30), (True, True, 24, 23), (True, False, 0, 0)],
)
def test_shares_that_are_guessed_right(
    tmp_path, lab, opaque, units, least_quantities, least_places
):
    path, true = exports(tmp_path, opaque=opaque, units=units)
    draft = describe_exports([path, lab], "Brindlewater", "America/Chicago")
    assert {g.tag.name for g in draft.guesses} == set(true)
    guessed = {
        true[g.tag.name]: (g.point.quantity, g.point.place, g.point.port)
        for g in draft.guesses
        if g.point
    }
    quantities = sum(TRUTH[tag][0] == found[0] for tag, found in guessed.items())
    places = sum(TRUTH[tag] == found for tag, found in guessed.items())
    assert quantities >= least_quantities
    assert places >= least_places
    # A wrong place is worse than none: without names and units next to nothing is placed.
    assert len(guessed) - places <= 2
    assert {g.tag.name: (g.analyte, g.place, g.port) for g in draft.lab} == LAB


@pytest.mark.parametrize("seed", [300, 302, 304])
@pytest.mark.parametrize(("opaque", "quantities", "places"), [(False, 30, 29), (True, 24, 22)])
def test_shares_at_a_mill_of_other_size_and_levels(tmp_path, seed, opaque, quantities, places):
    """Throughput, doses, temperatures, pH and levels moved away from those of the sample."""
    path, true = exports(tmp_path, opaque=opaque, units=True)
    rng = np.random.default_rng(seed)
    size = rng.uniform(0.4, 2.5)
    parts = []
    for part in pl.read_parquet(path).partition_by("tag", maintain_order=True):
        quantity = TRUTH[true[part["tag"][0]]][0]
        if quantity in _SHIFTED and true[part["tag"][0]] != "ST.LI303":
            value = pl.col("value") + rng.normal(0.0, _SHIFTED[quantity])
        else:
            spread = 0.02 if quantity == "flow" else 0.25
            scale = size if "flow" in quantity or quantity == "cane_rate" else 1.0
            value = pl.col("value") * scale * np.exp(rng.normal(0.0, spread))
            value = pl.col("value") if quantity == "level" else value
        parts.append(part.with_columns(value=value))
    pl.concat(parts).sort("time").write_parquet(path)
    guesses = describe_exports([path], "Elsewhere", "America/Chicago").guesses
    right = [TRUTH[true[g.tag.name]] for g in guesses]
    found = [(g.point.quantity, g.point.place, g.point.port) if g.point else None for g in guesses]
    pairs = list(zip(right, found, strict=True))
    assert sum(f is not None and f[0] == r[0] for r, f in pairs) >= quantities
    assert sum(f == r for r, f in pairs) >= places


_SHIFTED = {"temperature": 1.5, "ph": 0.12, "level": 12.0, "mud_level": 12.0, "brix": 1.0}


def test_the_draft_loads_and_fits_the_exports(tmp_path, lab, capsys):
    path, _ = exports(tmp_path, opaque=False, units=True)
    out = tmp_path / "mill.toml"
    command = ["describe", str(path), str(lab), "--out", str(out), "--name", "Brindlewater"]
    assert run([*command, "--zone", "America/Chicago"]) == 0
    assert "50 of 50" in capsys.readouterr().out
    mill = load_mill(out)
    assert [v.kind for v in mill.station.vessels] == [v.kind for v in MILL.station.vessels]
    assert mill.station.targets.flow_feed_m3_h == pytest.approx(265.0, rel=0.05)
    assert mill.station.targets.ph_limed == pytest.approx(7.5, abs=0.1)
    text = out.read_text("utf-8")
    assert text.count("CONFIRM: ") >= len(mill.station.vessels)
    assert check_exports(mill, [path, lab])
    assert run([*command]) == 2
    assert out.read_text("utf-8") == text


def test_a_wide_file_of_words_and_odd_names(tmp_path):
    rng = np.random.default_rng(1)
    n = 2000
    minutes = np.datetime64("2025-10-30T00:00") + np.arange(n) * np.timedelta64(5, "m")
    columns = {
        "Clear juice pH": rng.normal(6.9, 0.05, n),
        "Limed juice pH": rng.normal(7.7, 0.05, n),
        "Mixed juice flow [m3/h]": rng.normal(300.0, 6.0, n),
        'evil"] ; name = "x [%]': rng.normal(50.0, 2.0, n),
        "mystery": rng.normal(-4000.0, 9.0, n),
    }
    frame = pl.DataFrame(
        {"time": [str(m).replace("T", " ") for m in minutes]}
        | {k: [f"{x:.2f}" for x in v] for k, v in columns.items()}
    )
    frame.write_csv(tmp_path / "station.csv")
    draft = describe_exports([tmp_path / "station.csv"], "Mill", "America/Chicago")
    (tmp_path / "mill.toml").write_text(draft.text, encoding="utf-8")
    mill = load_mill(tmp_path / "mill.toml")
    found = {s.tag: (s.quantity, s.place) for s in mill.station.signals}
    assert found["Clear juice pH"] == ("ph", "settler")
    assert found["Limed juice pH"] == ("ph", "liming_tank")
    assert ("flow", "mixed_juice") in found.values()
    assert "mystery" not in found
    assert '# [tags."mystery"]' in draft.text
    assert "without a zone" in draft.text


@pytest.mark.parametrize("local", [True, False])
@pytest.mark.parametrize("day", ["2025-11-02", "2026-03-08"])
def test_a_clock_change_tells_local_time_from_utc(tmp_path, local, day):
    """Chicago's clocks went back on 2025-11-02 and forward on 2026-03-08 (IANA database)."""
    start = datetime.fromisoformat(day).replace(tzinfo=UTC) - timedelta(days=1)
    moments = [start + timedelta(minutes=5 * n) for n in range(3 * 288)]
    zone = ZoneInfo("America/Chicago") if local else UTC
    frame = pl.DataFrame(
        {
            "time": [f"{m.astimezone(zone):%Y-%m-%d %H:%M}" for m in moments],
            "TI-1": [f"{97 + n % 5 / 10}" for n in range(len(moments))],
        }
    )
    frame.write_csv(tmp_path / "station.csv")
    text = describe_exports([tmp_path / "station.csv"], "Mill", "America/Chicago").text
    (line,) = [line for line in text.splitlines() if f"clock change of {day}" in line]
    assert ("not local time" not in line) == local


def test_tags_without_a_flow_make_no_train(tmp_path):
    times = [f"2025-10-06 {h:02d}:{m:02d}" for h in range(24) for m in range(0, 60, 5)]
    frame = pl.DataFrame(
        {"time": times, "TI-7": [f"{97 + (i % 7) / 10}" for i in range(len(times))]}
    )
    frame.write_csv(tmp_path / "one.csv")
    draft = describe_exports([tmp_path / "one.csv"], "7 hills!", None)
    (tmp_path / "mill.toml").write_text(draft.text, encoding="utf-8")
    mill = load_mill(tmp_path / "mill.toml")
    assert mill.key == "mill_7_hills"
    assert mill.station.vessels == ()
    assert "CONFIRM: the plant's IANA time zone" in draft.text


def test_an_unknown_zone_is_told(tmp_path):
    with pytest.raises(ConfigError) as caught:
        describe_exports([tmp_path / "x.csv"], "Mill", "America/Chicgo")
    assert "America/Chicago" in caught.value.next_step


def test_a_lag_is_seen_in_the_changes():
    rng = np.random.default_rng(5)
    course = np.cumsum(rng.normal(0.0, 1.0, 4000))
    minute = np.arange(4000)

    def tag(values):
        ones = np.ones(4000, dtype=np.int64)
        return TagLook("x", "", 4000, 0, 60.0, 0.0, 0.0, 0.0, minute, ones, values)

    assert lag_min(tag(course), tag(np.roll(course, 7))) == pytest.approx(7, abs=1)
    assert lag_min(tag(course), tag(rng.normal(0.0, 1.0, 4000))) == 0.0


@pytest.mark.parametrize(
    "text", ['a"b', "back\\slash", "line\nbreak", "bell\x07", "right\u202eleft"]
)
def test_names_survive_as_toml(text):
    import tomllib

    assert tomllib.loads(f"x = {quoted(text)}")["x"] == text
