"""A lake that is far away is asked for several files at once, and gives them in order."""

import threading
import time
from datetime import date, timedelta
from uuid import uuid4

import polars as pl
import pytest

from pipeline.lake import STATION, Lake
from pipeline.lake import lake as module

FIRST = date(2025, 10, 6)


@pytest.mark.parametrize(("where", "at_once"), [("memory", 2), ("folder", 1)])
def test_days_come_in_order_and_several_at_once_from_afar(tmp_path, monkeypatch, where, at_once):
    lake = Lake(f"memory://far_{uuid4().hex}" if where == "memory" else tmp_path)
    days = [FIRST + timedelta(days=n) for n in range(8)]
    lake.write_days((STATION, day, pl.DataFrame({"n": [n]})) for n, day in enumerate(days))
    real, lock, open_now, most = module.read_stored, threading.Lock(), [], []

    def slow(*arguments, **named):
        with lock:
            open_now.append(1)
            most.append(len(open_now))
        time.sleep(0.02)
        with lock:
            open_now.pop()
        return real(*arguments, **named)

    monkeypatch.setattr(module, "read_stored", slow)
    assert lake.read_features(STATION, days[0], days[-1])["n"].to_list() == list(range(8))
    assert max(most) >= at_once
    assert (max(most) == 1) == (where == "folder")
