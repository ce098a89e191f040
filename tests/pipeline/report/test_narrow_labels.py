"""On a narrow screen each cell says its column beside it; a long name takes the room it needs."""

import math
import re
from pathlib import Path

import pytest
from chromium import IN_CHROMIUM, opened

pytestmark = IN_CHROMIUM
PIPELINE = Path(__file__).parents[3] / "pipeline"
STYLES = sorted(
    path for path in PIPELINE.rglob("*.css*") if "attr(data-label)" in path.read_text("utf-8")
)
_LABEL = "Après le premier, et plus long que sa place"
_HEIGHTS = """() => [...document.querySelectorAll('td')].map(cell => [
  cell.clientHeight, parseFloat(getComputedStyle(cell, '::before').height),
  cell.getBoundingClientRect().width])"""


@pytest.mark.parametrize("style", STYLES, ids=lambda path: path.name)
def test_a_long_name_of_a_column_never_lies_over_the_next_cell(style, chromium, tmp_path):
    # The narrow part of a style alone: what makes the rest of a template is not needed for it.
    text = style.read_text("utf-8")
    narrow = [line for line in text.split("\n") if re.match(r" +\.?[\w., ]*td[\w.:, ()]* \{", line)]
    page_of = tmp_path / "page.html"
    cell = f"<td data-label='{_LABEL}'>5</td>"
    page_of.write_text(
        f"<meta charset=utf-8><style>{''.join(narrow)}</style>"
        f"<table class=rows><tbody><tr>{cell}{cell}</table>",
        "utf-8",
    )
    page, _, _ = opened(chromium, page_of, 390)
    heights = page.evaluate(_HEIGHTS)
    page.close()
    assert len(heights) == 2
    # One that stands in the line, as the night sheet has it, has no height of its own.
    assert all(label <= cell for cell, label, _ in heights if not math.isnan(label))
