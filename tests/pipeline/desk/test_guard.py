"""Who may ask: names of this machine, pages of this desk, and nobody's text runs."""

import re

import pytest
from desks import client_of, desk_for

from pipeline.desk.guard import host_name
from pipeline.period.notes import note_of
from pipeline.stages.calendar import keep_note

KEY = "/m/brindlewater"
OTHERS = ("evil.example", "127.0.0.1.evil.example", "", "[::1", "localhost:x", "127.0.0.2")
#: What would be alive, were it not text.
LIVE = (
    "<script>alert", "<script>x", "<img src=x", "<b>Mill", "<i>me", "<s>x", "<tag>", "\u202e",
)  # fmt: skip
PAGES = ("/", "/period?from=2025-10-11&to=2025-10-12", "/waiting", "/verdicts", "/reports/")


@pytest.mark.parametrize("host", OTHERS)  # fmt: skip
def test_other_names_are_refused(shown, host):
    answer = shown.get(f"{KEY}/", headers={"host": host})
    assert answer.status_code == 421
    assert "Brindlewater" not in answer.text


@pytest.mark.parametrize("host", ["127.0.0.1:8000", "localhost", "LOCALHOST:1", "[::1]:9"])
def test_names_of_this_machine_are_answered(shown, host):
    assert shown.get(f"{KEY}/waiting", headers={"host": host}).status_code == 200


def test_names_are_read_as_written():
    assert host_name("[::1]:80") == "::1"
    assert host_name("a:b:c") == ""


@pytest.mark.parametrize("page", PAGES)
def test_every_answer_forbids_what_is_not_of_this_machine(shown, page):
    headers = shown.get(f"{KEY}{page}").headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert headers["cache-control"] == "no-store"


@pytest.mark.parametrize("page", PAGES)
def test_pages_hold_no_style_or_script_of_their_own(shown, page):
    text = shown.get(f"{KEY}{page}").text
    assert not re.search(r"\sstyle=|\son[a-z]+=|<style", text)
    for inside in re.findall(r"<script([^>]*)>", text):
        assert "src=" in inside or "application/json" in inside
    assert not re.search(r'(?:src|href|action)="(?:https?:)?//', text)


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"origin": "http://evil.example"}, 403),
        ({"origin": "null"}, 403),
        ({"origin": "https://127.0.0.1:8000"}, 403),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"origin": "http://127.0.0.1:8000", "sec-fetch-site": "same-origin"}, 303),
    ],
)
def test_only_pages_of_the_desk_may_change_something(client, desk, first, headers, status):
    from desks import verdict_form

    form = verdict_form(desk, "brindlewater", first["finding_id"], "confirmed")
    where = f"{KEY}/finding/{first['finding_id']}/verdict"
    assert client.post(where, data=form, headers=headers).status_code == status
    given = desk.of("brindlewater").now().verdicts.height
    assert given == (1 if status == 303 else 0)


@pytest.mark.parametrize("token", ["", "x", "é", None])
def test_without_the_token_nothing_is_changed(client, desk, first, token):
    form = {"verdict": "confirmed", "seen": "0", "note": "my words"}
    if token is not None:
        form["token"] = token
    answer = client.post(f"{KEY}/finding/{first['finding_id']}/verdict", data=form)
    assert answer.status_code == 400
    assert "my words" in answer.text  # what was typed is not lost
    assert client.post(f"{KEY}/notes", data=form | {"text": "t"}).status_code == 400
    assert desk.of("brindlewater").now().verdicts.is_empty()


def test_a_desk_that_only_shows_changes_nothing_and_offers_nothing(shown, first):
    page = shown.get(f"{KEY}/finding/{first['finding_id']}")
    assert "<form" not in page.text
    desk = shown.app.state.desk
    form = {"verdict": "fixed", "seen": "0", "token": desk.token}
    answer = shown.post(f"{KEY}/finding/{first['finding_id']}/verdict", data=form)
    assert answer.status_code == 400
    assert "nothing can be changed here" in answer.text
    assert desk.of("brindlewater").now().verdicts.is_empty()


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS"])
def test_other_ways_to_ask_are_refused(shown, method):
    assert shown.request(method, f"{KEY}/").status_code == 405


def test_a_form_of_another_kind_or_without_end_is_refused(client, desk, first):
    where = f"{KEY}/finding/{first['finding_id']}/verdict"
    assert client.post(where, json={"token": desk.token}).status_code == 400
    long = client.post(where, data={"token": desk.token, "note": "x" * 70_000})
    assert long.status_code == 400
    many = client.post(where, data={f"f{n}": "x" for n in range(100)})
    assert many.status_code == 400


@pytest.fixture
def hostile_pages(hostile):
    made, name = hostile
    client = client_of(desk_for([made]))
    pages = [f"{KEY}{page}" for page in PAGES]
    pages += [f"{KEY}/finding/{name}", f"{KEY}/?tag=all", f"{KEY}/season.html?tag=all",
              f"{KEY}/period.html?from=2025-10-11&to=2025-10-12",
              f"{KEY}/?cause=<script>x</script>&pick=2025-10-11..2025-10-12",
              f"{KEY}/?from=<script>x</script>", f"{KEY}/finding/<script>x",
              f"{KEY}/finding/{name}?kept=1", f"{KEY}/finding/{name}/view.html",
              f"{KEY}/waiting.html", f"{KEY}/verdicts.html"]  # fmt: skip
    return [client.get(page) for page in pages]


def test_foreign_text_stays_text_on_every_page(hostile_pages):
    for answer in hostile_pages:
        assert answer.status_code in (200, 400)
        for live in LIVE:
            assert live not in answer.text
    assert any("&lt;i&gt;me" in a.text for a in hostile_pages)
    assert any("{{ 7*7 }}" in a.text for a in hostile_pages)  # no template reads it a second time


def test_foreign_text_is_no_formula_in_a_file(hostile):
    made, _ = hostile
    client = client_of(desk_for([made]))
    said = {"from": "2025-10-11 08:00", "to": "2025-10-11 09:00", "text": "=1+1", "by": "@x"}
    keep_note(made, note_of(made, said, "here"))
    for table in ("findings", "waiting", "verdicts", "notes"):
        text = client.get(f"{KEY}/{table}.csv").text
        assert text.count("\n") > 1
        assert not re.search(r'(^|,)"?[=@]', text, flags=re.MULTILINE), table
    assert client.get(f"{KEY}/minutes.csv?from=2025-10-11&to=2025-10-12").text[1:4] == "ts_"
