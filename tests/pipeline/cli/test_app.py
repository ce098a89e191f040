"""Commands: what they show, and that whatever is typed wrong gives three lines and a code."""

import json
import os
import subprocess
import sys
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path

import polars as pl
import pytest
from checkouts import small_checkout

from pipeline.cli import app, demo
from pipeline.mill.description import load_mill

ROOT = Path(__file__).resolve().parents[3]


@pytest.fixture(scope="module")
def checkout(tmp_path_factory):
    """A checkout with two days of exports instead of eight weeks."""
    tags = (datetime(2025, 10, 11, 12, tzinfo=UTC), datetime(2025, 10, 13, 12, tzinfo=UTC))
    lab = ("2025-10-11 06", "2025-10-13 06")
    return small_checkout(tmp_path_factory.mktemp("checkout"), tags, lab)


@pytest.fixture(scope="module")
def shown(checkout, tmp_path_factory):
    """Folder with a finished demonstration."""
    folder = tmp_path_factory.mktemp("shown")
    os.umask(0o022)  # as most machines have it
    demo.run(folder, checkout=checkout)
    return folder / demo.FOLDER


def lines_of(capsys):
    return capsys.readouterr().err.splitlines()


def test_help_needs_no_heavy_part():
    code = (
        "import sys, pipeline.cli.app as c\n"
        "try: c.main()\n"
        "except SystemExit as end: assert not end.code, end.code\n"
        "heavy = {'polars', 'prefect', 'duckdb', 'numpy', 'sklearn'} & set(sys.modules)\n"
        "assert not heavy, heavy"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, "--help"], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    for command in ("demo", "check", "pull", "backfill", "nightly", "weekly", "findings", "serve"):
        assert command in done.stdout


def test_version_is_that_of_the_distribution(capsys):
    assert app.run(["--version"]) == 0
    assert capsys.readouterr().out.strip() == version("lostpol")


@pytest.mark.parametrize(
    "typed",
    [
        ["pul"],
        ["demo", "extra"],
        ["check"],
        ["check", "absent.toml"],
        ["check", "."],
        ["check", "--colour", "red"],
        ["backfill", "mill.toml", "--from", "yesterday"],
        ["serve"],
        ["findings", "absent.toml", "--json"],
    ],
    ids=" ".join,
)
def test_whatever_is_typed_wrong_gives_three_lines_and_code_2(typed, capsys):
    assert app.run(typed) == 2
    lines = lines_of(capsys)
    assert [line.split(":")[0] for line in lines if not line.startswith(" ")] == [
        "What",
        "Where",
        "Next",
    ]


def test_missing_and_unreadable_exports_give_code_3(shown, tmp_path, capsys):
    mill = str(shown / "demo_mill.toml")
    broken = tmp_path / "tags_broken.parquet"
    broken.write_bytes(b"no parquet")
    for file in (broken, tmp_path / "absent.csv"):
        assert app.run(["pull", mill, str(file)]) == 3
        assert file.name in "\n".join(lines_of(capsys))


def test_a_fault_of_our_own_is_told_in_words(shown, capsys, monkeypatch):
    monkeypatch.setattr("pipeline.cli.check.check_mill", lambda _: 1 / 0)
    assert app.run(["check", str(shown / "demo_mill.toml")]) == 1
    assert "ZeroDivisionError" in lines_of(capsys)[1]
    assert app.run(["--debug", "check", str(shown / "demo_mill.toml")]) == 1
    assert "Traceback" in capsys.readouterr().err


def test_names_from_outside_cannot_command_the_terminal(tmp_path, capsys):
    path = tmp_path / "mill.toml"
    path.write_text('[tags."\\u001b[31mred"]\n', encoding="utf-8")
    assert app.run(["check", str(path)]) == 2
    assert "\x1b" not in capsys.readouterr().err


def test_the_demonstration_leaves_store_report_and_description(shown):
    assert (shown / "findings.duckdb").is_file()
    mill = load_mill(shown / "demo_mill.toml")
    assert mill.mail is None
    assert mill.store_path == shown
    (report,) = shown.rglob("backfill.html")
    assert "Brindlewater" in report.read_text(encoding="utf-8")


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such rights")
def test_nothing_of_a_store_is_for_others(shown):
    found = {path: path.stat().st_mode & 0o777 for path in (shown, *shown.rglob("*"))}
    copy = shown / "findings_published.duckdb"
    assert found.pop(copy) == 0o400
    assert {mode for path, mode in found.items() if path.is_dir()} == {0o700}
    assert {mode for path, mode in found.items() if path.is_file()} == {0o600}
    names = {path.relative_to(shown).as_posix() for path in found}
    assert {"run.lock", "findings.lock", "findings.duckdb", "log/lostpol.jsonl"} <= names
    for ending in (".html", ".pdf", ".txt", ".parquet", ".json", ".toml"):
        assert any(name.endswith(ending) for name in names), ending


def test_findings_are_listed_in_words_and_as_json(shown, capsys):
    mill = str(shown / "demo_mill.toml")
    assert app.run(["findings", mill, "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert [row["rank"] for row in rows] == list(range(1, len(rows) + 1))
    assert all(row["lost_t_low"] <= row["lost_t"] <= row["lost_t_high"] for row in rows)
    assert all(row["started"].endswith("+00:00") for row in rows)
    assert app.run(["findings", mill]) == 0
    text = capsys.readouterr().out
    assert text.startswith("no\tid\twhen\t") if rows else "No loss above" in text


def test_a_backfill_over_days_without_readings_says_so(shown, capsys):
    mill = str(shown / "demo_mill.toml")
    assert app.run(["backfill", mill, "--from", "2030-01-01", "--to", "2030-01-03"]) == 2
    said = capsys.readouterr().err
    assert "no readings from 2030-01-01 to 2030-01-03" in said
    assert "Readings reach from 2025-10-11 to 2025-10-13" in said


def test_check_pull_and_backfill_speak_plainly(shown, checkout, capsys):
    mill = str(shown / "demo_mill.toml")
    assert app.run(["check", mill]) == 0
    assert "the description is sound" in capsys.readouterr().out
    lab = str(checkout / "sample_parquet" / "lab.parquet")
    assert app.run(["pull", mill, lab]) == 0
    assert "0 new" in capsys.readouterr().out
    assert app.run(["backfill", mill, "--from", "2025-10-12"]) == 0
    assert "Report: " in capsys.readouterr().out


def test_check_compares_exports_without_storing_them(shown, checkout, capsys):
    mill = str(shown / "demo_mill.toml")
    folder = checkout / "sample_parquet"
    files = [str(folder / name) for name in ("tags_week1.parquet", "lab.parquet")]
    assert app.run(["check", mill, *files]) == 0
    assert "every tag of the description" in capsys.readouterr().out
    assert app.run(["check", mill, files[0]]) == 3
    shown_on = capsys.readouterr()
    assert "- LAB CJ rs: not in the files" in shown_on.err
    # 19 lab series are missing: five are named, the others counted.
    assert shown_on.err.count("not in the files") == 6
    assert "and 14 more" in shown_on.err
    # All the same it says what these files alone would be worth.
    assert "What the answer will be worth with these files alone:" in shown_on.out
    assert "Losses that cannot show: pH probe reading too high" in shown_on.out
    assert "analyse reducing sugars" not in shown_on.out
    assert "of which no result is there" in shown_on.out


def test_check_tells_what_an_answer_will_be_worth_before_any_reading(checkout, tmp_path, capsys):
    text = (checkout / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    text = text.replace("../lostpol_store/brindlewater", str(tmp_path / "store"))
    # Of reducing sugars only those of limed juice are left.
    gone = tuple(f'[lab."LAB {point} rs"]' for point in ("MJ", "CJ", "EJ"))
    sections = [part for part in text.split("\n\n") if not part.startswith(gone)]
    told = []
    for name, parts in (("both", text.split("\n\n")), ("one", sections)):
        (tmp_path / f"{name}.toml").write_text("\n\n".join(parts), encoding="utf-8")
        assert app.run(["check", str(tmp_path / f"{name}.toml")]) == 0
        told.append(capsys.readouterr().out)
    both, one = told
    for phrase in told:
        assert "What the answer will be worth:" in phrase
        assert "may be off by a factor of 2.7 either way" in phrase  # exp(1.645 x 0.6), computed
        assert "No readings yet." in phrase
        # 0.147 t by hand, rounded; 0.15 x 520.
        assert "- Smallest finding: 0.15 t sucrose, worth USD 78 (worked out from the 265" in phrase
        assert "detection.smallest_finding_t changes it" in phrase
    assert "samples of each bring the factor to" in both and "Cheapest cure" not in both
    assert "Cheapest cure: analyse reducing sugars on clear juice too, about" in one


def test_check_counts_what_the_store_holds(shown, capsys):
    assert app.run(["check", str(shown / "demo_mill.toml")]) == 0
    phrase = capsys.readouterr().out
    (line,) = [line for line in phrase.splitlines() if "samples of the last weeks" in line]
    # Two days of samples every two to four hours, of three juices behind the mixed.
    assert 3 * 12 <= int(line.split("In the store: ")[1].split()[0]) <= 3 * 24


def test_help_of_check_names_export_files(capsys):
    assert app.run(["check", "--help"]) == 0
    assert "export files" in " ".join(capsys.readouterr().out.split())


def test_a_demonstration_never_touches_what_is_there(tmp_path, checkout):
    for name in (demo.FOLDER, f"{demo.FOLDER}_2"):
        (tmp_path / name).mkdir()
        (tmp_path / name / "demo_mill.toml").write_text("verdicts of years", encoding="utf-8")
    mill, _files = demo.prepare(tmp_path, checkout)
    assert mill.store_path == tmp_path / f"{demo.FOLDER}_3"
    for name in (demo.FOLDER, f"{demo.FOLDER}_2"):
        assert (tmp_path / name / "demo_mill.toml").read_text("utf-8") == "verdicts of years"


def test_a_demonstration_goes_where_it_is_told(tmp_path, checkout):
    (tmp_path / "empty").mkdir()
    for out in (tmp_path / "empty", tmp_path / "new" / "below"):
        mill, _files = demo.prepare(tmp_path, checkout, out)
        assert mill.store_path == out
    assert not (tmp_path / demo.FOLDER).exists()


def test_a_demonstration_refuses_a_folder_with_something_in_it(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "thesis.txt").write_text("years of work", encoding="utf-8")
    assert app.run(["demo", "--out", "mine"]) == 2
    assert "thesis.txt" in capsys.readouterr().err
    assert (tmp_path / "mine" / "thesis.txt").read_text("utf-8") == "years of work"
    assert app.run(["demo", "--out", "mine/thesis.txt"]) == 2


def test_demo_without_its_exports_says_where_to_run_it(tmp_path):
    from pipeline.base.errors import DataError

    with pytest.raises(DataError, match="sample exports") as caught:
        demo.run(tmp_path, checkout=tmp_path)
    assert "checkout" in caught.value.next_step


def test_demo_runs_twice_with_the_same_findings(checkout, tmp_path):
    from pipeline.store.folders import store_of

    tables = []
    for _ in range(2):
        mill, _outcome = demo.run(tmp_path, checkout=checkout)
        tables.append(store_of(mill).findings(withdrawn=True))
    assert tables[0].equals(tables[1])
    assert sorted(path.name for path in tmp_path.iterdir()) == [demo.FOLDER, f"{demo.FOLDER}_2"]


def test_a_corrected_export_is_not_ignored_without_a_word(checkout, tmp_path, capsys):
    text = (checkout / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    text = text.replace("../lostpol_store/brindlewater", "store")
    (tmp_path / "mill.toml").write_text(text, encoding="utf-8")
    lab = pl.read_parquet(checkout / "sample_parquet" / "lab.parquet")
    lab.write_parquet(tmp_path / "lab.parquet")
    chosen = lab.filter(pl.col("point_analyte") == "LAB CJ brix").head(5)
    chosen.with_columns(result=pl.lit("3.1")).write_parquet(tmp_path / "fix.parquet")
    mill, first, fix = (str(tmp_path / n) for n in ("mill.toml", "lab.parquet", "fix.parquet"))
    assert app.run(["pull", mill, first]) == 0
    capsys.readouterr()
    assert app.run(["pull", mill, fix]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "good readings contradict others of the same tag and time" in told
    assert "0 days changed" not in told
    assert app.run(["pull", mill, first]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "lab.parquet: pulled before" in told
    assert " and " in told.split("Tags of the description in none of these files:")[1]
    assert "0 days changed" in told
    assert app.run(["pull", mill, first, "--corrects"]) == 0
    assert "0 days changed" not in capsys.readouterr().out
