"""The desk shows the handbook, under its own headers, and each page leads to it."""

import re

from desks import client_of, desk_for

from pipeline.desk.guard import POLICY
from pipeline.handbook.page import handbook_page, static_file

KEY = "/m/brindlewater"


def test_the_handbook_has_the_headers_of_the_desk_and_nothing_inline(shown):
    answer = shown.get("/handbook")
    assert answer.status_code == 200
    assert answer.headers["content-security-policy"] == POLICY
    assert "unsafe" not in POLICY
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["x-frame-options"] == "DENY"
    assert answer.headers["content-language"] == "en"
    assert not re.search(r"<style|<script>| style=| on\w+=", answer.text)
    assert 'id="command-handbook"' in answer.text
    assert answer.text.partition("<main")[2] == shown.get("/handbook").text.partition("<main")[2]


def test_style_and_script_come_from_the_desk(shown):
    page = shown.get("/handbook").text
    for name, kind in (("handbook.css", "text/css"), ("handbook.js", "text/javascript")):
        assert f"/static/{name}" in page
        answer = shown.get(f"/static/{name}")
        assert answer.text == static_file(name)
        assert answer.headers["content-type"].startswith(kind)


def test_it_says_what_the_file_says(shown):
    from pipeline.cli.handbook import all_commands

    def told(page):
        return page.partition("<main")[2].partition("</main>")[0]

    assert told(shown.get("/handbook").text) == told(handbook_page(all_commands()))


def test_each_page_leads_to_it_in_the_readers_tongue(mill):
    client = client_of(desk_for([mill]))  # it keeps the language that was chosen last
    words = {"en": "Handbook, in English", "es": "Manual, en inglés",
             "pt": "Manual, em inglês", "fr": "Manuel, en anglais"}  # fmt: skip
    for path in ("/", "/waiting", "/verdicts", "/reports/"):
        for language, text in words.items():
            page = client.get(f"{KEY}{path}?language={language}").text
            assert f'<a href="/handbook" hreflang="en">{text}</a>' in page, (path, language)
    # A page kept as a file has no desk to lead to.
    assert "/handbook" not in client.get(f"{KEY}/waiting.html").text


def test_who_has_not_entered_does_not_see_it(mill):
    client = client_of(desk_for([mill]), token="a long and random token of 24")
    answer = client.get("/handbook", headers={"accept": "text/html"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/enter")
    assert "/handbook" not in client.get("/enter").text
