"""Pages of the desk: what they show, what the address holds, what is refused."""

import io
import os
import re
from datetime import timedelta

import polars as pl
import pytest
from desks import client_of, desk_for
from pages import Words
from python_calamine import CalamineWorkbook

from models.account import added_findings, bare_sums, multiplier_log_sd, with_bounds
from pipeline.desk.address import stamp
from pipeline.desk.desk import waiting
from pipeline.present.view import judged_minutes
from pipeline.store.export import findings_frame
from pipeline.store.folders import store_of
from pipeline.words import tonnes

KEY = "/m/brindlewater"
PERIODS = [f"2025101{n}T0000Z_2025102{n}T0000Z" for n in range(3)]


def words(answer):
    return Words(answer.text).text


def test_the_only_mill_is_opened_at_once(shown):
    answer = shown.get("/")
    assert (answer.status_code, answer.headers["location"]) == (303, f"{KEY}/")


def test_the_season_shows_every_strip_and_all_findings(shown, mill):
    answer = shown.get(f"{KEY}/")
    assert answer.status_code == 200
    text = words(answer)
    for strip in ("Loss above the unavoidable", "What chance explains", "Planned and noted",
                  "Odd, with little or no loss", "Stops", "Sensor troubles",
                  "Laboratory level"):  # fmt: skip
        assert strip in text
    for name in store_of(mill).findings()["finding_id"]:
        assert f'href="{KEY}/finding/{name}"' in answer.text
    assert "trained and licensed people. This desk only shows" in text


def test_the_loss_of_the_hours_shown_is_the_sum_of_the_minutes(shown, mill, first):
    start = first["started"].replace(minute=0, second=0, microsecond=0)
    end = start + timedelta(hours=9)
    table = pl.read_parquet(io.BytesIO(
        shown.get(f"{KEY}/hours.parquet?from={stamp(start)}&to={stamp(end)}").content))  # fmt: skip
    minutes = judged_minutes(mill, start.date(), end.date()).filter(
        pl.col("ts_utc").is_between(start, end, closed="left")
    )
    assert table.height == 9
    assert table["excess_t"].sum() == pytest.approx(
        minutes["excess_kg_h"].sum() / 60_000.0, rel=1e-5
    )
    whole = with_bounds(bare_sums(minutes.with_columns(all=0), ["all"])).row(0, named=True)
    page = words(shown.get(f"{KEY}/?from={stamp(start)}&to={stamp(end)}"))
    assert tonnes(*(whole[f"excess{s}_t"] for s in ("", "_low", "_high"))) in page


@pytest.mark.parametrize(
    ("query", "keeps"),
    [
        ("cause=low_limed_ph", lambda r: r["cause"] == "low_limed_ph"),
        ("least=0.5", lambda r: r["lost_t"] >= 0.5),
        ("least=0,5", lambda r: r["lost_t"] >= 0.5),
        ("mark=confident", lambda r: r["mark"] == "confident"),
        ("verdict=confirmed", lambda r: r["verdict"] == "confirmed"),
        ("verdict=none", lambda r: r["verdict"] is None),
        ("section=settler&section=liming_tank", lambda r: r["section"] in ("settler",
                                                                        "liming_tank")),
        # Started in October 2025 in America/Chicago, UTC-5.
        ("weekday=5", lambda r: (r["started"] - timedelta(hours=5)).weekday() == 5),
        ("shift=2", lambda r: not 6 <= (r["started"] - timedelta(hours=5)).hour < 22),
    ],
)  # fmt: skip
def test_filters_keep_what_they_say_and_tell_what_they_leave_out(shown, mill, query, keeps):
    rows = store_of(mill).findings().to_dicts()
    wanted = {r["finding_id"] for r in rows if keeps(r)}
    table = pl.read_parquet(io.BytesIO(shown.get(f"{KEY}/findings.parquet?{query}").content))
    assert set(table["finding_id"]) == wanted
    page = shown.get(f"{KEY}/?{query}")
    listed = set(re.findall(r"/finding/([0-9a-f]{10})", page.text))
    assert listed == wanted
    assert f"The filters leave {len(wanted)} of {len(rows)} findings." in words(page)


def test_the_address_holds_the_state(shown, first):
    pick = f"{stamp(first['started'])}..{stamp(first['ended'])}"
    answer = shown.get(f"{KEY}/?pick={pick}&tag=all&least=0.1&w=700")
    assert 'class="pick"' in answer.text
    assert 'viewBox="0 0 700 ' in answer.text
    assert answer.text.count('id="row-tag-') > 20
    # Links to other hours keep all of it.
    later = re.search(r'data-act="later" href="([^"]+)"', answer.text)[1].replace("&amp;", "&")
    for part in ("pick=", "tag=all", "least=0.1", "w=700"):
        assert part in later
    again = shown.get(later)
    assert 'name="least" inputmode="decimal" size="5" value="0.1"' in again.text
    assert re.search(r'<a class="button main" data-act="open" href="[^"]*period\?from=', again.text)


def test_a_period_is_the_account_with_another_laid_under_it(shown, first):
    start, end = first["started"], first["ended"]
    back = timedelta(days=1)
    query = (f"from={stamp(start)}&to={stamp(end)}"
             f"&beside={stamp(start - back)}..{stamp(end - back)}")  # fmt: skip
    answer = shown.get(f"{KEY}/period?{query}")
    text = words(answer)
    assert "Milk of lime per juice" in text
    assert "What moved first" in text
    assert '"style":"under"' in answer.text
    assert "Lost in the other period" in text
    alone = shown.get(f"{KEY}/period?from={stamp(start)}&to={stamp(end)}")
    assert '"style":"under"' not in alone.text


def test_a_finding_has_its_evidence_what_is_alike_and_its_dossier(shown, first):
    text = words(shown.get(f"{KEY}/finding/{first['finding_id']}"))
    for part in ("Check on the floor", "Caution", "Similar findings", "No verdict yet", "chance"):
        assert part in text
    dossier = shown.get(f"{KEY}/finding/{first['finding_id']}/dossier")
    assert dossier.headers["content-security-policy"].startswith("sandbox")
    assert "From rates to tonnes" in dossier.text or "The tonnes" in dossier.text


@pytest.mark.parametrize(
    ("address", "status", "said"),
    [
        (f"{KEY}/?from=noon", 400, "cannot be read"),
        (f"{KEY}/?least=much", 400, "size cannot be read"),
        (f"{KEY}/?least=nan", 400, "size cannot be read"),
        (f"{KEY}/?w=9e9", 400, "width"),
        (f"{KEY}/?pick=x", 400, "period cannot be read"),
        (f"{KEY}/period?from=2025-10-12&to=2025-10-11", 400, "ends before it begins"),
        (f"{KEY}/period?from=2031-01-01&to=2031-01-02", 404, "Nothing of this period"),
        (f"{KEY}/period?from=2025-11-02+01:30&to=05:00", 400, "was twice"),
        (f"{KEY}/finding/zzzzzz", 400, "no such finding"),
        (f"{KEY}/finding/3", 400, "named by its id"),
        (f"{KEY}/nothing.csv", 400, "no such file"),
        (f"{KEY}/hours.exe", 400, "no such file"),
        (f"{KEY}/minutes.csv", 400, "No period was named"),
        ("/m/other/", 400, "no such mill"),
        (f"{KEY}/reports/%2e%2e/findings.duckdb", 400, "no such report"),
        (f"{KEY}/reports/..%2ffindings.duckdb", 400, "no such report"),
    ],
)  # fmt: skip
def test_what_cannot_be_answered_says_what_where_and_next(shown, address, status, said):
    answer = shown.get(address)
    assert answer.status_code == status
    assert said in answer.text
    assert "Traceback" not in answer.text
    if status == 400:
        assert "What to do next" in answer.text


def test_two_mills_stand_beside_one_another(mill, tmp_path):
    from dataclasses import replace

    other = replace(mill, key="empty", name="Empty", store_path=tmp_path / "none", lake=None)
    client = client_of(desk_for([mill, other]))
    text = words(client.get("/"))
    assert "2 mills" in text
    assert "for 1,000 t of sucrose fed" in text
    assert "There are no findings yet." in text
    assert client.get("/m/empty/").status_code == 404
    # The rate is the loss over what was fed.
    hours = pl.read_csv(io.BytesIO(client.get(f"{KEY}/hours.csv").content))
    rate = 1000 * hours["excess_t"].sum() / hours["sucrose_fed_t"].sum()
    shown_rate = float(re.search(r"([-\d.]+) t(?: \([^)]*\))? above the unavoidable for", text)[1])
    assert shown_rate == pytest.approx(rate, abs=0.06)


def test_files_hold_the_same_as_the_command_and_no_formula(shown, mill):
    frame = findings_frame(mill)
    same = pl.read_parquet(io.BytesIO(shown.get(f"{KEY}/findings.parquet").content))
    assert same.equals(frame)
    for what in ("hours", "findings"):
        book = shown.get(f"{KEY}/{what}.xlsx").content
        sheet = CalamineWorkbook.from_filelike(io.BytesIO(book)).get_sheet_by_name("View")
        kept = pl.read_parquet(io.BytesIO(shown.get(f"{KEY}/{what}.parquet").content))
        assert sheet.to_python()[0] == kept.columns
        assert len(sheet.to_python()) == kept.height + 1
        assert shown.get(f"{KEY}/{what}.csv").content.startswith(b"\xef\xbb\xbf")


@pytest.mark.parametrize(
    "view", [f"{KEY}/season", f"{KEY}/period", f"{KEY}/waiting", f"{KEY}/verdicts", "finding",
             "/mills"]
)  # fmt: skip
def test_a_kept_page_needs_nothing_else(shown, first, view):
    if view == "finding":
        view = f"{KEY}/finding/{first['finding_id']}/view"
    query = f"from={stamp(first['started'])}&to={stamp(first['ended'])}"
    answer = shown.get(f"{view}.html?{query}")
    assert answer.headers["content-disposition"].startswith("attachment")
    assert "default-src 'none'" in answer.text
    assert not re.search(r'(src|href)="(https?:)?/', re.sub(r'<a href="/m/[^"]*"', "", answer.text))
    assert "<form" not in answer.text
    assert "Keep this view" not in answer.text
    assert shown.get(f"{view}.pdf?{query}").content.startswith(b"%PDF")


def test_every_view_says_where_it_can_be_kept(shown, first):
    own = f"{KEY}/finding/{first['finding_id']}"
    for view, at in ((f"{KEY}/waiting", f"{KEY}/waiting"), (f"{KEY}/verdicts", f"{KEY}/verdicts"),
                     (own, f"{own}/view")):  # fmt: skip
        page = shown.get(view).text
        for kind in ("html", "pdf"):
            assert f'href="{at}.{kind}" download' in page
    for table in ("waiting", "verdicts", "notes"):
        assert shown.get(f"{KEY}/{table}.csv").status_code == 200


def test_every_kind_of_report_has_a_name_in_the_index(client, mine):
    folder = mine.reports_path / "2025-10-10"
    folder.mkdir(parents=True, exist_ok=True)
    for kind in ("nightly", "weekly", "keeper", "backfill"):
        (folder / f"{kind}.html").write_text("<p>x</p>", "utf-8")
    text = client.get(f"{KEY}/reports/").text
    assert "How sharp the search is" in text
    assert not re.search(r"<td[^>]*>(nightly|weekly|keeper|backfill)</td>", text)


def test_reports_are_indexed_and_reach_nothing_of_the_desk(desk, client, mine, first):
    from pipeline.dossier.write import write_dossier

    write_dossier(mine, first["finding_id"])
    index = client.get(f"{KEY}/reports/")
    where = f"{KEY}/reports/dossier/{first['finding_id']}/dossier.html"
    assert where in index.text
    page = client.get(where)
    assert page.headers["content-security-policy"].startswith("sandbox")
    assert f'href="{KEY}/finding/{first["finding_id"]}"' in page.text
    assert f'href="{KEY}/reports/"' in page.text
    data = client.get(where.replace("dossier.html", "minutes.csv"))
    assert data.headers["content-disposition"].startswith("attachment")
    (mine.reports_path / "link").symlink_to(mine.store_path)
    assert client.get(f"{KEY}/reports/link/findings.duckdb").status_code == 400
    (mine.store_path / "own.txt").write_text("not a report")
    assert client.get(f"{KEY}/reports/link/own.txt").status_code == 400


def test_dossiers_and_periods_stand_with_the_newest_first(client, mine):
    for home, names in (("dossier", ("a1", "b2", "c3")), ("period", PERIODS)):
        for moment, name in zip((200, 300, 100), names, strict=True):
            page = mine.reports_path / home / name / f"{home}.html"
            page.parent.mkdir(parents=True, exist_ok=True)
            page.write_text("<p>x</p>", "utf-8")
            os.utime(page, (moment, moment))
        text = client.get(f"{KEY}/reports/").text
        places = [text.index(f"{home}/{names[n]}/") for n in (1, 0, 2)]
        assert places == sorted(places)


def test_what_waits_is_added_up_as_reports_add_it(desk, client):
    known = desk.of("brindlewater").now()
    level = multiplier_log_sd(known.run["multiplier_low"], known.run["multiplier_high"])
    together = tonnes(*added_findings(waiting(known.findings), level))
    assert f"together {together} above the usual" in words(client.get(f"{KEY}/waiting"))


def test_a_reader_chooses_a_language_and_keeps_it(shown):
    # Words by the catalogues, whose own tests hold them to their messages.
    french = shown.get(f"{KEY}/waiting?language=fr")
    assert '<html lang="fr"' in french.text
    assert "En attente" in french.text
    assert "language=fr" in french.headers["set-cookie"]
    assert '<html lang="fr"' in shown.get(f"{KEY}/waiting").text
    shown.get(f"{KEY}/waiting?language=en")
    assert '<html lang="en"' in shown.get(f"{KEY}/waiting").text
    assert '<html lang="en"' in shown.get(f"{KEY}/waiting?language=xx").text
