"""The invented mill of the sample season with a store of its own, and its first days."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

from pipeline.mill.description import load_mill

ROOT = Path(__file__).resolve().parents[2]
DAYS = [date(2025, 10, 6) + timedelta(days=n) for n in range(6)]


def describe(folder, **changes):
    """Brindlewater with its store and inbox in `folder`, and no mail."""
    text = (ROOT / "configs" / "demo_mill.toml").read_text(encoding="utf-8")
    start, end = text.index("[mail]"), text.index("[exports]")
    lines = (text[:start] + text[end:]).splitlines()
    kept = [f'store = "{folder / "store"}"' if x.startswith("store =") else x for x in lines]
    kept = [f'inbox = "{folder / "inbox"}"' if x.startswith("inbox =") else x for x in kept]
    text = "\n".join(kept)
    for old, new in changes.items():
        text = text.replace(old, new)
    path = folder / "mill.toml"
    path.write_text(text, encoding="utf-8")
    return load_mill(path)
