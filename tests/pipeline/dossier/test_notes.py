"""The calendar of a mill: kept, read from files, shown, told with findings, taken back."""

import json
import re
from datetime import timedelta

import polars as pl
import pytest

from features.base import polars_schema
from models.cause.notices import NOTICE_COLUMNS
from pipeline.base.errors import ConfigError, DataError
from pipeline.base.window import Window
from pipeline.cli import app
from pipeline.dossier.period import write_period
from pipeline.dossier.write import write_dossier
from pipeline.lake.coverage import lake_of
from pipeline.lake.kinds import NOTICES, SEARCHED
from pipeline.period.answered import answer
from pipeline.period.for_programs import as_data
from pipeline.period.notes import add_notes, notes_of, notes_path, read_calendar, withdraw_note
from pipeline.stages.calendar import keep_calendar
from pipeline.stages.stages import detect
from pipeline.store.folders import store_of

HOSTILE = "</li><script>alert(1)</script> =1+1"


def still_lanes(html):
    """Lanes of the still picture: each has a frame."""
    return html.count('stroke="#b9b4a7"')


def given(mill, first, **more):
    hours = {"from": first["started"].isoformat(timespec="minutes"),
             "to": first["ended"].isoformat(timespec="minutes")}  # fmt: skip
    path = mill.store_path / "calendar.csv"
    row = hours | {"kind": "trial", "text": "less lime on purpose"} | more
    path.write_text(f"{','.join(row)}\n" + ",".join(row.values()) + "\n", encoding="utf-8")
    return path


def test_a_note_is_told_with_the_finding_and_hides_nothing(mine, first, tmp_path):
    before = store_of(mine).findings()
    keep_calendar(mine, given(mine, first, text=HOSTILE))
    keep_calendar(mine, given(mine, first, text="LT.AI212 calibrated", kind="calibration"))
    # The hours are searched again by the next run.
    assert lake_of(mine).feature_days(SEARCHED) == []
    detect(mine, "nightly")
    after = store_of(mine).findings()
    # The probe may step now, which moves tonnes a little; none is hidden.
    assert after["finding_id"].to_list() == before["finding_id"].to_list()
    row = next(r for r in after.to_dicts() if r["finding_id"] == first["finding_id"])
    facts = json.loads(row["evidence"])["facts"]
    assert facts[0]["text"].startswith("Milk of lime per juice")
    noted = {fact["text"].split(",")[0] for fact in facts[1:3]}
    assert noted == {"Noted beforehand as trial", "Noted beforehand as calibration"}
    days = lake_of(mine).feature_days(NOTICES)
    notices = lake_of(mine).read_features(NOTICES, days[0], days[-1])
    assert notices.filter(pl.col("text").str.contains("LT.AI212 calibrated"))["kind"][0] == "known"
    found = answer(mine, Window(first["started"], first["ended"]))
    assert {item["kind"] for item in as_data(found)["known"]} == {"trial", "calibration"}
    page = write_period(found, tmp_path / "page").read_text(encoding="utf-8")
    assert "Noted beforehand as trial" in page
    dossier = write_dossier(mine, first["finding_id"]).read_text(encoding="utf-8")
    for html in (page, dossier):
        assert "<script>alert" not in html
        # On the lanes with and without script, and in the line under them.
        assert html.count('<g class="known">') == 2 * still_lanes(html) > 4
        assert re.search(r'"noted":\[\[\d+,\d+,"A","calibration, .*"B","trial, ', html)
        assert re.search("by the clock: <bdi>Noted beforehand: A calib.*; B trial, ", html)
    for item in as_data(found)["known"]:
        withdraw_note(mine, item["note_id"])
    assert notes_of(mine) == []


def test_notices_of_a_period_are_told_beside_it(mine, first, tmp_path):
    lake, day = lake_of(mine), first["started"].date()
    start = first["started"].replace(hour=0, minute=0)
    row = {"started": start, "ended": first["ended"], "kind": "stale_cane", "text": HOSTILE}
    schema = polars_schema(NOTICE_COLUMNS)
    lake.write_features(NOTICES, day, pl.DataFrame([row], schema=schema))
    found = answer(mine, Window(first["started"], first["ended"]))
    assert [n["kind"] for n in as_data(found)["notices"]] == ["stale_cane"]
    page = write_period(found, tmp_path / "page").read_text(encoding="utf-8")
    assert "Stale cane" in page
    assert "<script>alert" not in page
    later = Window(first["ended"] + timedelta(hours=1), first["ended"] + timedelta(hours=2))
    assert as_data(answer(mine, later))["notices"] == []


def test_a_calendar_twice_changes_nothing_and_toml_says_the_same_as_csv(mine, first):
    notes = read_calendar(mine, given(mine, first))
    toml = mine.store_path / "calendar.toml"
    row = json.loads(json.dumps({"from": first["started"].isoformat(timespec="minutes"),
                                 "to": first["ended"].isoformat(timespec="minutes")}))  # fmt: skip
    toml.write_text(
        "[[note]]\n" + "".join(f"{k} = {json.dumps(v)}\n" for k, v in row.items())
        + 'kind = "trial"\ntext = "less lime on purpose"\n'
    )  # fmt: skip
    assert read_calendar(mine, toml) == notes
    assert len(add_notes(mine, notes)) == 1
    assert add_notes(mine, notes) == []
    assert notes_of(mine) == notes


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("from,to,kind,text\n2025-11-02T01:30,05:00,stop,x\n", "was twice"),
        ("from,to,kind,text\nnoon,now,stop,x\n", "cannot be read"),
        ("from,to,kind,text\n2025-10-12,2025-10-12,party,x\n", "no such kind"),
        ("from,to,kind,text\n2025-10-12,,stop,x\n", "lacks"),
        ("a,b\n1,2\n", "lacks"),
    ],
)
def test_a_wrong_row_is_named_and_nothing_is_kept(mine, content, said):
    path = mine.store_path / "wrong.csv"
    path.write_text(content)
    with pytest.raises(ConfigError, match=said) as caught:
        keep_calendar(mine, path)
    assert "note 1" in caught.value.where
    assert notes_of(mine) == []


def test_a_calendar_that_is_none_is_refused(mine, tmp_path):
    for name, content in (("x.toml", b"[[note"), ("x.csv", b"\xff\xfe\x00"), ("none.csv", None)):
        path = tmp_path / name
        if content is not None:
            path.write_bytes(content)
        with pytest.raises(ConfigError, match="cannot be read"):
            read_calendar(mine, path)


def test_a_damaged_calendar_is_named_with_its_cure(mine, first):
    notes_path(mine).write_text("note_id,from\n1,2\n")
    with pytest.raises(DataError, match="cannot be read") as caught:
        answer(mine, Window(first["started"], first["ended"] + timedelta(hours=1)))
    assert "lostpol note" in caught.value.next_step


def test_the_command_keeps_lists_and_takes_back(copied, capsys):
    path = str(copied / "demo_mill.toml")
    words = ["note", path, "--from", "2025-10-12 02:00", "--to", "06:00", "--kind", "stop",
             "boiler inspection"]  # fmt: skip
    assert app.run(words) == 0
    said = capsys.readouterr().out
    assert "Kept: " in said
    assert "next run" in said
    assert app.run(["note", path]) == 0
    listed = capsys.readouterr().out
    assert "Sun 12 Oct 2025 02:00 to 06:00, stop: boiler inspection" in listed
    assert app.run(["note", path, "--withdraw", listed.split()[0]]) == 0
    assert app.run(["note", path, "--withdraw", "x"]) == 2
    assert app.run(["note", path, "text without hours"]) == 2
    assert app.run(["note", path, "--from", "today", "--to", "now"]) == 2
    assert "What:" in capsys.readouterr().err
