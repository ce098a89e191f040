"""The lines that `benchmarks/line_breaks.py` breaks are still there, once each in their room."""

from line_breaks import ROOT, all_breaks


def test_no_break_is_stale():
    stale = [(b.file, b.line) for b in all_breaks() if len(b.places(ROOT)) != 1]
    assert stale == []
