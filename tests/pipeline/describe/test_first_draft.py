"""The drafter on invented mills with four days of exports, judged as the whole judge does it.

The whole judge is ``tests/benchmarks/first_hour.py``; these mills were looked at while the drafter
was made, so the shares are no promise for another mill: they hold what was reached.
"""

from __future__ import annotations

import tomllib

import pytest
from first_hour import make_mill
from first_hour.score_draft import score_lab, score_tags
from slow_case import slow

from pipeline.describe.describe import describe_exports
from pipeline.exports.export import export_readings
from pipeline.lake.refused import Tally
from pipeline.layouts.layout import layout_for
from pipeline.mill.description import load_mill

DAYS = 4


@pytest.fixture(
    scope="module",
    params=[2, slow(9)],
    ids=["words, long", "opaque, list of tags"],
)
def drafted(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp("mill")
    made = make_mill(request.param, folder / "exports", days=DAYS)
    draft = describe_exports([folder / "exports"], made.spec.name, made.spec.zone)
    path = folder / "mill.toml"
    path.write_text(draft.text, encoding="utf-8")
    return made, draft, path


def test_nine_in_ten_tags_are_placed_and_hardly_one_wrong(drafted):
    made, _, path = drafted
    raw = tomllib.loads(path.read_text("utf-8"))
    counts = score_tags(raw["tags"], made.truth).counts
    placed = counts["tag right"] + counts["tag wrong"] + counts["tag not placed"]
    assert counts["tag right"] >= 0.9 * placed
    assert counts["tag wrong"] + counts["none wrong"] <= 0.02 * len(made.truth.tags)
    assert counts["unit right"] >= 0.98 * (counts["unit right"] + counts["unit wrong"])


def test_nine_in_ten_series_of_the_laboratory_are_right(drafted):
    made, _, path = drafted
    counts = score_lab(tomllib.loads(path.read_text("utf-8"))["lab"], made.truth).counts
    assert counts["lab right"] >= 0.9 * len(made.truth.lab)
    assert counts["lab wrong"] + counts["lab invented"] == 0


def test_every_export_is_read_back_by_its_drafted_layout(drafted):
    made, _, path = drafted
    mill = load_mill(path)
    for export in made.exports:
        layout = layout_for(export, mill.exports.layout)
        assert layout is not None, export.name
        tally = Tally()
        kept = sum(part.height for part in export_readings(export, layout, mill, tally))
        assert kept, export.name
        assert tally.unreadable == 0, export.name


def test_every_file_gets_a_verdict(drafted):
    made, draft, _ = drafted
    said = {f.name: f.verdict for f in draft.files}
    assert set(said) == {f.name for f in made.files}
    assert all(said[f.name] in ("read", "asked") for f in made.exports)
    others = {f.name for f in made.files} - {f.name for f in made.exports}
    assert {name for name in others if said[name] == "read"} <= {"puntos.xlsx"}
