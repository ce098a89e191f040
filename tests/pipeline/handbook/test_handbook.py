"""The handbook: all that the sources hold is on it, escaped, and its links lead somewhere."""

import re
import tomllib
from html import unescape
from html.parser import HTMLParser
from pathlib import Path

import pytest

from pipeline.cli import app
from pipeline.cli.handbook import all_commands
from pipeline.handbook.commands import Command, Option
from pipeline.handbook.keys import sections_of
from pipeline.handbook.page import DOCUMENTS, TEMPLATE, handbook_page
from pipeline.handbook.prose import documents_of
from pipeline.store.dictionary import chapters

ROOT = Path(__file__).resolve().parents[3]
HOSTILE = "</script><img src=x onerror=alert(1)> {{ 7*7 }} \"'>&"


class Shape(HTMLParser):
    """What a page holds: texts of its elements by id, anchors, links, tags with attributes."""

    def __init__(self, html):
        super().__init__()
        self.ids, self.links, self.tags, self.around, self.texts = [], [], [], [], {}
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        attrs = dict(attrs)
        self.tags.append((tag, attrs))
        if "id" in attrs:
            self.ids.append(attrs["id"])
        if tag == "a" and "href" in attrs:
            self.links.append(attrs["href"])
        if tag in {"article", "section", "tr"}:
            self.around.append((tag, attrs.get("id", "")))

    def handle_endtag(self, tag):
        if self.around and self.around[-1][0] == tag:
            self.around.pop()

    def handle_data(self, data):
        for _, name in self.around:
            self.texts[name] = self.texts.get(name, "") + data


@pytest.fixture(scope="module")
def html():
    return handbook_page(all_commands())


@pytest.fixture(scope="module")
def shape(html):
    return Shape(html)


def single(text):
    return " ".join(text.split())


def test_every_command_with_all_that_its_help_shows_is_there(shape, capsys):
    names = [name for name in app.app if not name.startswith("-")]
    assert len(names) > 25
    seen = 0
    for name in names:
        told = single(shape.texts[f"command-{name}"])
        assert app.run([name, "--help"]) == 0
        shown = capsys.readouterr().out
        # The first sentence may be broken over lines, and a table breaks its words.
        options = set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", shown)) - {"--help", "--version"}
        seen += len(options)
        for option in options:
            assert option in told, (name, option)
        usage = re.search(r"Usage: lostpol (.*)", shown)[1]
        usage = re.sub(r"--\S+ \S+", "", usage)
        for place in re.findall(r"[A-Z]{2,}", usage.replace("[OPTIONS]", "").replace("[ARGS]", "")):
            assert place in told, (name, place)
    assert seen > 80


def test_an_option_says_what_it_takes_and_what_holds_without_it():
    told = {command.name: {o.names[0]: o for o in command.options} for command in all_commands()}
    mill, wait = told["nightly"]["MILL"], told["nightly"]["--wait"]
    assert (mill.names, mill.takes, mill.required) == (("MILL", "--mill"), "file or folder", True)
    assert (wait.takes, wait.required) == ("number", False)
    sort = told["findings"]["--sort"]
    assert (sort.takes, sort.default) == ("rank, time, tonnes, sure", "rank")
    assert told["pull"]["FILES"].takes == "one or more: file or folder"
    assert told["pull"]["--from"].takes == "day, as 2025-11-01"
    assert told["desk"]["--browser"].names == ("--browser", "--no-browser")
    assert told["desk"]["--browser"].default == "yes"


def test_every_key_of_the_template_is_there_with_its_words(shape):
    # Read another way: what is commented out is switched on, and read as TOML.
    text = (ROOT / TEMPLATE).read_text(encoding="utf-8")
    lines = [re.sub(r"^# ?(?=\[|[a-z][a-z0-9_]* = )", "", line) for line in text.splitlines()]
    seen, kept = set(), []
    for line in lines:
        if line.startswith("["):
            seen = set()
        name = line.partition(" = ")[0]
        if not re.fullmatch("[a-z0-9_]+", name) or name not in seen:
            kept.append(line)
        seen.add(name)
    keys = set()
    for name, held in tomllib.loads("\n".join(kept)).items():
        for title, one in tables_of(name, held):
            assert title in shape.texts, title
            keys |= {(title, key) for key in one}
    assert len(keys) > 100
    for title, key in keys:
        row = shape.texts[f"{title}--{key}"]
        assert row.startswith(key)
    assert "pressure of the air at the mill, added to gauge" in shape.texts["key-mill--air_kpa"]
    assert "left out: the standard atmosphere. 1000 m up" in shape.texts["key-mill--air_kpa"]
    assert "imbibition_flow" in shape.texts["key-tags-name"]
    assert "The password is read from the environment" in shape.texts["key-mail"]


def tables_of(name, held):
    """Anchors of a section of the template, each with keys."""
    if name in {"tags", "lab"}:
        yield from ((f"key-{name}-name", one) for one in held.values())
    elif isinstance(held, list):
        yield from ((f"key-{name}", one) for one in held)
    else:
        own = {k: v for k, v in held.items() if k != "layout"}
        yield f"key-{name}", own
        yield from ((f"key-{name}-layout", one) for one in held.get("layout", []))


def test_a_hash_within_quotes_is_no_comment_and_repeated_sections_are_told_once():
    text = (
        '# Head.\n\n[mill]\na = "x # y"   # real\n#             # and more\n\n# Words.\n'
        '[tags."A"]\nunit = "m"\n[tags."B"]\nunit = "s"   # of both\n# range = [0, 1]\n'
    )
    before, (mill, tags) = sections_of(text)
    assert before == "Head."
    key = mill.keys["a"]
    assert (key.example, key.meaning, key.optional) == ('"x # y"', "real and more", False)
    assert (tags.title, tags.about) == ('[tags."NAME"]', "Words.")
    assert (tags.keys["unit"].example, tags.keys["unit"].meaning) == ('"m"', "of both")
    assert tags.keys["range"].optional


def test_every_column_of_the_dictionary_is_there(shape):
    book = chapters()
    assert len(book) > 20
    for chapter in book:
        anchor = "table-" + re.sub(r"[^a-z0-9_]+", "-", chapter.title.lower()).strip("-")
        told = shape.texts[anchor]
        for entry in chapter.entries:
            for word in (entry.name, entry.kind, entry.unit, entry.meaning):
                assert word in told, (chapter.title, entry.name)


def test_every_document_of_the_project_is_there(shape):
    hidden = {"tests", "lostpol_store", "node_modules"}
    lying = [p.relative_to(ROOT) for p in ROOT.rglob("*.md")]
    lying = [
        p for p in lying
        if not any(part.startswith((".", "lostpol_demo")) or part in hidden for part in p.parts)
    ]  # fmt: skip
    assert {p.as_posix() for p in lying} == set(DOCUMENTS)
    for path in DOCUMENTS:
        text = (ROOT / path).read_text(encoding="utf-8")
        told = single(shape.texts["doc-" + re.sub(r"[^a-z0-9]+", "-", path.lower())])
        for heading in re.findall(r"^##+ (.+)$", text, re.MULTILINE):
            assert single(heading.replace("`", "").replace("**", "")) in told, (path, heading)
    # Comments of a source are for who edits it.
    assert "test command -->" not in shape.texts["doc-readme-md"]


def test_links_lead_to_a_place_of_the_page_and_anchors_are_single(shape):
    assert len(shape.ids) == len(set(shape.ids))
    inside = [link for link in shape.links if link.startswith("#")]
    assert len(inside) > 80
    assert {link[1:] for link in inside} <= set(shape.ids)
    assert [link for link in shape.links if not re.match("#|https?://", link)] == []
    # The README leads to the documents it names.
    assert {"#doc-developers-md", "#doc-pipeline-readme-md"} <= set(shape.links)


def test_the_page_asks_for_nothing_and_runs_its_own_script_only(html, shape):
    for tag, attrs in shape.tags:
        for name in ("src", "srcset", "data", "action", "poster"):
            assert attrs.get(name, "data:").startswith("data:"), (tag, attrs)
        assert tag != "link" or attrs["href"].startswith("data:")
        assert not [name for name in attrs if name.startswith("on") or name == "style"]
    assert [tag for tag, _ in shape.tags].count("script") == 1
    policy = next(a["content"] for t, a in shape.tags if t == "meta" and "http-equiv" in a)
    assert policy.startswith("default-src 'none'; style-src 'sha256-")
    assert "unsafe" not in policy
    assert "url(" not in re.search("<style>(.*?)</style>", html, re.DOTALL)[1]


def test_hostile_text_is_escaped_wherever_it_comes_from(tmp_path):
    for path in (*DOCUMENTS, TEMPLATE):
        (tmp_path / path).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / path).write_text("# A\n\n[mill]\n# b = 1   # c\n", encoding="utf-8")
    (tmp_path / TEMPLATE).write_text(
        f"# {HOSTILE}\n\n# {HOSTILE}\n[mill]\n# b = 1   # {HOSTILE}\n", encoding="utf-8"
    )
    (tmp_path / "README.md").write_text(
        f"# {HOSTILE}\n\n{HOSTILE}\n\n<script>alert(2)</script>\n\n`{HOSTILE}`\n\n"
        "[a](javascript:alert(3)) ![b](../../etc/passwd) ![c](http://example.com/x.png)\n\n"
        '<!-- said to who edits -->\n\n[d](nowhere.md "<i>")\n',
        encoding="utf-8",
    )
    options = (Option(("--" + HOSTILE,), HOSTILE, HOSTILE, False, HOSTILE),)
    page = handbook_page((Command("x", HOSTILE, (HOSTILE,), options),), home=tmp_path)
    shape = Shape(page)
    assert [tag for tag, _ in shape.tags].count("script") == 1
    pictures = [attrs for tag, attrs in shape.tags if tag == "img"]
    assert [a["src"] for a in pictures] == ["data:,", "data:,"]
    assert all(not name.startswith("on") for _, attrs in shape.tags for name in attrs)
    assert all(not link.startswith("javascript") for link in shape.links)
    assert "nowhere.md" not in shape.links
    assert "said to who edits" not in page
    # Told as it stands: once in a usage, once in a comment of the template.
    assert HOSTILE in shape.texts["command-x"]
    assert HOSTILE in shape.texts["key-mill--b"]
    assert unescape("&lt;script&gt;alert(2)") in shape.texts["doc-readme-md"]
    assert "49" not in shape.texts["command-x"]


def test_pictures_of_a_document_stand_in_the_page_and_none_from_outside_the_project(tmp_path):
    home = tmp_path / "project"
    (home / "a").mkdir(parents=True)
    (home / "p.png").write_bytes(b"\x89PNG small")
    (home / "large.png").write_bytes(bytes(200_001))
    (tmp_path / "private.png").write_bytes(b"\x89PNG small")
    (home / "a" / "README.md").write_text(
        "# A\n\n![here](../p.png) ![too large](../large.png) ![gone](no.png)"
        " ![outside](../../private.png)\n",
        encoding="utf-8",
    )
    (document,) = documents_of(home, ["a/README.md"])
    sources = re.findall('src="([^"]*)"', document.parts[0].html)
    assert sources == ["data:image/png;base64,iVBORyBzbWFsbA==", "data:,", "data:,", "data:,"]


def test_the_command_writes_one_file_and_says_what_is_wrong(tmp_path, capsys, html):
    assert app.run(["handbook", "--out", str(tmp_path / "new")]) == 0
    (written,) = (tmp_path / "new").iterdir()
    assert written.name in capsys.readouterr().out
    assert written.read_text(encoding="utf-8") == html
    (tmp_path / "file").write_text("", encoding="utf-8")
    assert app.run(["handbook", "--out", str(tmp_path / "file")]) == 2
    assert "Name another folder with --out" in single(capsys.readouterr().err)
    with pytest.raises(Exception, match="one cannot be read") as told:
        handbook_page((), home=tmp_path)
    assert "clone" in told.value.next_step


def test_the_readme_shows_night_dossier_and_desk():
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = {path: words for words, path in re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", text)}
    home = "sample_parquet/messy_mill/pictures"
    assert set(shown) == {f"{home}/demo_{what}.png" for what in ("night", "dossier", "desk")}
    for path, words in shown.items():
        assert len(words) > 40, path
        assert 20_000 < (ROOT / path).stat().st_size <= 200_000, path
    html = "".join(part.html for part in documents_of(ROOT, ["README.md"])[0].parts)
    sources = [attrs["src"] for tag, attrs in Shape(html).tags if tag == "img"]
    assert len(sources) == 3
    assert all(source.startswith("data:image/png;base64,iVBORw0KGgo") for source in sources)


def test_lines_of_a_comment_go_on_as_paragraphs_and_those_of_a_list_stand_alone():
    text = (
        "[a]\nx = 1\n\n# One\n# sentence.\n#   first   of a list,\n#           longer\n"
        "#   second\n# After it.\n[b]\n"
    )
    _, (_, second) = sections_of(text)
    assert second.about == "One sentence.\n  first   of a list, longer\n  second\nAfter it."
