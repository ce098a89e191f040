"""Drawings can share a page, and nothing in them can run or load anything."""

import pytest

from pipeline.charts.svg import isolate

HEAD = '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink">'


def test_names_and_references_get_the_prefix():
    text = isolate(
        f'{HEAD}<clipPath id="c0"><rect/></clipPath><g clip-path="url(#c0)"/>'
        '<g style="fill:url(\'#c0\')"/><use xlink:href="#c0"/></svg>',
        "f1",
        "a label",
    )
    assert 'id="f1-0"' in text
    assert 'clip-path="url(#f1-0)"' in text
    assert "fill:url(#f1-0)" in text
    assert 'href="#f1-0"' in text
    assert 'aria-label="a label"' in text


def test_label_is_escaped():
    assert "<script" not in isolate(f"{HEAD}</svg>", "p", '"><script>alert(1)</script>')


@pytest.mark.parametrize(
    "inner",
    [
        "<script>1</script>",
        "<foreignObject/>",
        '<image href="data:x"/>',
        '<g onload="x()"/>',
        '<use href="https://example.org/x.svg"/>',
    ],
)
def test_what_runs_or_loads_is_refused(inner):
    with pytest.raises(ValueError, match="forbidden"):
        isolate(f"{HEAD}{inner}</svg>", "p", "label")
