"""The hash in every stored file: what is not as it was written is refused, never read."""

import json
import pickle
import random
from datetime import UTC, date, datetime, timedelta

import polars as pl
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.lake.columns import day_bytes
from pipeline.lake.intact import RottenError, set_aside, survey, whole_bytes
from pipeline.lake.lake import Lake
from pipeline.lake.merge import READINGS_SCHEMA
from pipeline.lake.seal import KEY, digest_of, sealed_json, state_of
from pipeline.lake.sealing import frame_bytes, put_seal

DAY = date(2025, 10, 6)
ROWS = [
    (datetime(2025, 10, 6, tzinfo=UTC) + timedelta(seconds=5 * n), tag, 7.0 + n / 97, False, None)
    for tag in ("LT.AI212", "ST.AI308")
    for n in range(2000)
]
READINGS = pl.DataFrame(ROWS, schema=READINGS_SCHEMA, orient="row")
#: As any program would write them.
BARE = READINGS.write_parquet


def files():
    return {
        "readings": day_bytes(READINGS),
        "features": frame_bytes(READINGS.select("ts_utc", "value")),
        "nothing": frame_bytes(READINGS.clear()),
        "note": sealed_json(b'{"days": ["2025-10-06"]}'),
        "empty note": sealed_json(b"{}"),
    }


@pytest.mark.parametrize("name", files())
def test_whatever_bit_is_flipped_shows(name):
    content = files()[name]
    assert state_of(content) == "sound"
    rng = random.Random(4)
    # All of the end, where the hash itself stands, and some of the rest.
    last = range(max(0, 8 * (len(content) - 600)), 8 * len(content))
    for at in [*last, *(rng.randrange(8 * len(content)) for _ in range(500))]:
        spoilt = bytearray(content)
        spoilt[at // 8] ^= 1 << at % 8
        assert state_of(bytes(spoilt)) == "rotten", at


@settings(max_examples=60, deadline=None)
@given(at=st.floats(0, 1), length=st.integers(1, 5000), fill=st.sampled_from([0, 255]))
def test_a_sector_of_zeros_or_ones_is_never_sound(at, length, fill):
    content = files()["readings"]
    begin = int(at * (len(content) - 1))
    spoilt = content[:begin] + bytes([fill]) * length + content[begin + length :]
    if spoilt != content:
        assert state_of(spoilt) != "sound"


def test_any_other_program_reads_a_sealed_file_as_before(tmp_path):
    """Read by pyarrow and by polars; the hash is a key-value of the footer, as Parquet has them."""
    for name in ("readings", "features"):
        path = tmp_path / f"{name}.parquet"
        path.write_bytes(files()[name])
        assert pq.read_table(path).num_rows == READINGS.height
        assert pq.read_metadata(path).metadata[KEY.encode()].startswith(b"sha256:")
    assert pl.read_parquet(tmp_path / "readings.parquet").equals(READINGS)
    assert json.loads(files()["note"])["days"] == ["2025-10-06"]


def test_the_same_content_has_the_same_bytes_and_hash():
    again = day_bytes(READINGS.clone())
    assert again == files()["readings"]
    other = day_bytes(READINGS.with_columns(pl.col("value") + 1e-9))
    assert digest_of(other) != digest_of(again)


def stored(lake):
    lake.storage.write(lake.readings_name(DAY), lambda file: file.write(files()["readings"]))
    lake.write_features("grid", DAY, READINGS.select("ts_utc", "value"))
    lake.storage.write("pulled/1_a.json", lambda file: file.write(files()["note"]))
    return lake.storage.root


def flip(path, at=-200):
    content = bytearray(path.read_bytes())
    content[at] ^= 1
    path.write_bytes(content)


def test_a_rotten_day_is_read_by_nobody(tmp_path):
    lake = Lake(tmp_path / "lake")
    root = stored(lake)
    flip(root / lake.readings_name(DAY))
    flip(root / "features/grid/date=2025-10-06/grid.parquet")
    work = (
        lambda: lake.read_readings(DAY, DAY),
        lambda: lake.read_readings(DAY, DAY, ["LT.AI212"]),
        lambda: lake.read_readings(DAY, DAY, keep=True),
        lambda: lake.readings_hash(DAY, DAY),
        lambda: lake.merged_day(DAY, [READINGS]),
        lambda: lake.read_features("grid", DAY, DAY),
        lambda: lake.read_features("grid", DAY, DAY, ["value"]),
        lambda: lake.write_features("grid", DAY, READINGS),
    )
    for read in work:
        with pytest.raises(RottenError, match="not those that were written") as caught:
            read()
        assert "date=2025-10-06" in caught.value.where
        assert "lostpol backfill" in caught.value.next_step
    # As workers of a cluster send it.
    assert isinstance(pickle.loads(pickle.dumps(caught.value)), RottenError)


def test_a_look_at_all_files_names_those_that_rotted_and_those_without_a_hash(tmp_path):
    lake = Lake(tmp_path / "lake")
    root = stored(lake)
    assert survey(lake.storage).rotten == {}
    assert survey(lake.storage).files == 3
    flip(root / "pulled/1_a.json", 5)
    old = root / "readings/date=2025-10-07/readings.parquet"
    old.parent.mkdir()
    BARE(old)
    torn = root / "readings/date=2025-10-08/readings.parquet"
    torn.parent.mkdir()
    torn.write_bytes(old.read_bytes()[:-9])
    seen = survey(lake.storage)
    assert sorted(seen.rotten) == ["pulled/1_a.json", "readings/date=2025-10-08/readings.parquet"]
    assert seen.bare == ("readings/date=2025-10-07/readings.parquet",)


def test_a_file_from_before_gets_its_hash_and_keeps_its_content(tmp_path):
    lake = Lake(tmp_path / "lake")
    root = stored(lake)
    name = lake.readings_name(DAY)
    BARE(root / name)
    assert lake.read_readings(DAY, DAY).equals(READINGS)
    put_seal(lake.storage, name)
    assert whole_bytes(lake.storage, name) == files()["readings"]
    (root / "pulled/1_a.json").write_bytes(b'{"days": ["2025-10-06"]}')
    put_seal(lake.storage, "pulled/1_a.json")
    assert whole_bytes(lake.storage, "pulled/1_a.json") == files()["note"]


@pytest.mark.parametrize("where", ["folder", "memory://rot/lake"])
def test_what_is_set_aside_is_kept_and_never_overwritten(tmp_path, where):
    lake = Lake(tmp_path / "lake" if where == "folder" else where)
    name = lake.readings_name(DAY)
    for number, content in enumerate((b"one", b"two"), 1):
        lake.storage.write(name, lambda file, content=content: file.write(content))
        kept = set_aside(lake.storage, name)
        assert kept.endswith(f"aside/{name}.{number}")
        assert not lake.storage.exists(name)
        with lake.storage.open(f"aside/{name}.{number}") as file:
            assert file.read() == content
    assert lake.days() == []
    assert survey(lake.storage).files == 0
