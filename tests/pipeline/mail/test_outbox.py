"""The outbox keeps whole messages only, and nothing of those it could not keep."""

import os
import time
from datetime import UTC, datetime

import pytest

from pipeline.base.errors import DataError
from pipeline.mail import outbox
from pipeline.mail.outbox import Outbox

NOW = datetime(2025, 10, 7, 5, tzinfo=UTC)


def put(box, name="a" * 32):
    return box.put(name, b"Subject: x\r\n\r\nx", ("one@mill.example", "two@mill.example"), "x", NOW)


@pytest.mark.parametrize("after", [0, 1, 2])
def test_a_full_disk_leaves_nothing_of_a_message(tmp_path, monkeypatch, after):
    """Whichever of its files the disk no longer takes."""
    box, written = Outbox(tmp_path / "outbox"), []

    def full(path, content):
        if len(written) == after:
            path.touch()  # a full disk still takes names
            raise OSError(28, "No space left on device")
        written.append(path)
        path.write_bytes(content)

    with monkeypatch.context() as patch:
        patch.setattr(outbox, "_write", full)
        with pytest.raises(DataError, match="could not be kept"):
            put(box)
    assert list(box.path.rglob("*")) == []
    assert put(box)
    assert len(box.letters()) == 2


def test_what_a_killed_process_left_goes_once_nobody_can_be_writing_it(tmp_path):
    box = Outbox(tmp_path / "outbox")
    put(box)
    left = box.path / ("b" * 32 + ".part")
    left.mkdir()
    (left / "000.json").touch()
    box.tidy()
    assert left.exists()  # it may be written this very moment
    hour_ago = time.time() - 3600.0
    os.utime(left, (hour_ago, hour_ago))
    box.tidy()
    assert not left.exists()
    assert len(box.letters()) == 2


def test_an_outbox_that_is_not_there_yet_is_tidy(tmp_path):
    Outbox(tmp_path / "outbox").tidy()
