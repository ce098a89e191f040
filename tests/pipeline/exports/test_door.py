"""Whatever a library raises while an export is read costs that export, and nothing else."""

from __future__ import annotations

import binascii
import builtins
import codecs
import csv
import errno
import gzip
import json
import lzma
import struct
import zipfile
import zlib
from decimal import InvalidOperation
from zoneinfo import ZoneInfoNotFoundError

import fsspec
import numpy as np
import polars as pl
import pyarrow as pa
import pyarrow.lib
import pytest
import python_calamine
from corpus_mill import Mill

from pipeline.base.errors import DataError, DiskError, LostpolError
from pipeline.base.progress import StoppedError
from pipeline.exports import quick, survey
from pipeline.exports.export import export_readings
from pipeline.files import archives, door, sheets, tables, text
from pipeline.lake.refused import Tally
from pipeline.pull import stage
from pipeline.pull.pull import pull_files

MODULES = (
    builtins, pl.exceptions, pa.lib, python_calamine, zipfile, lzma, zlib, gzip, struct, csv, json,
    codecs, binascii, np.exceptions, fsspec.exceptions,
)  # fmt: skip


def raised_by_libraries():
    """Every class of error of the libraries in use, and of Python itself, that can be raised."""
    classes = {InvalidOperation, ZoneInfoNotFoundError, UnicodeError}
    for module in MODULES:
        for name in dir(module):
            found = getattr(module, name)
            if isinstance(found, type) and issubclass(found, BaseException):
                classes.add(found)
    # Those below and above them as well: a class need not be named by its module to be raised.
    for found in [c for c in classes if c.__module__ != "builtins"]:
        classes |= set(found.__subclasses__()) | set(found.__mro__) - {object}
    known = [c for c in classes if not issubclass(c, door.PASSING)]
    return sorted(known, key=lambda c: (c.__module__, c.__qualname__))


def made(kind):
    """An error of a class, whatever it wants to be made of."""
    for arguments in (
        (),
        ("boom",),
        ("utf-8", b"\xff", 0, 1, "boom"),
        ("utf-8", "x", 0, 1, "boom"),
        ("boom", [ValueError("boom")]),
        ("boom", "doc", 0),
    ):
        try:
            return kind(*arguments)
        except TypeError:
            continue
        except BaseException:  # noqa: BLE001 (a class that cannot be made cannot be raised)
            return None
    return None


ERRORS = [error for kind in raised_by_libraries() if (error := made(kind)) is not None]
PASS = (KeyboardInterrupt(), SystemExit(3), StoppedError(), DiskError("a", "b", "c"))


def test_the_classes_are_those_of_all_libraries_in_use():
    names = {type(error).__name__ for error in ERRORS}
    wanted = {
        "PanicException", "ComputeError", "ArrowInvalid", "ArrowNotImplementedError", "BadZipFile",
        "LZMAError", "CalamineError", "XmlError", "UnicodeDecodeError", "RecursionError",
        "MemoryError", "OverflowError", "KeyError", "IndexError", "NotImplementedError", "OSError",
        "BadGzipFile", "JSONDecodeError", "BaseException", "AssertionError", "StopIteration",
    }  # fmt: skip
    assert wanted <= names
    assert len(ERRORS) > 100


def raising(error):
    def fail(*_arguments, **_more):
        raise error

    return fail


#: Where files are handed to libraries: each stands for all that these may raise.
PLACES = (
    (tables, "open_text", "csv"),
    (tables, "text_batches", "csv"),
    (text, "unpacked", "csv"),
    (archives.gzip, "open", "gz"),
    (archives.zipfile, "ZipFile", "zip"),
    (sheets.CalamineWorkbook, "from_path", "xlsx"),
    (tables.pl, "scan_parquet", "parquet"),
    (tables, "column_units", "parquet"),
)


@pytest.fixture(name="exports", scope="module")
def _exports(tmp_path_factory):
    from xlsxwriter import Workbook

    folder = tmp_path_factory.mktemp("exports")
    plain = "time,tag,value\n" + "".join(
        f"2025-10-06 0{k}:00:00,LT.AI212,7.{k}5\n" for k in range(9)
    )
    (folder / "a.csv").write_text(plain, encoding="utf-8")
    (folder / "a.gz").write_bytes(gzip.compress(plain.encode()))
    with zipfile.ZipFile(folder / "a.zip", "w") as archive:
        archive.writestr("a.csv", plain)
    book = Workbook(folder / "a.xlsx")
    sheet = book.add_worksheet()
    for row, line in enumerate(plain.splitlines()):
        sheet.write_row(row, 0, line.split(","))
    book.close()
    pl.read_csv(folder / "a.csv", try_parse_dates=True).write_parquet(folder / "a.parquet")
    return folder


@pytest.mark.parametrize(("module", "name", "ending"), PLACES, ids=[p[1] for p in PLACES])
def test_whatever_is_raised_becomes_a_refused_file(exports, monkeypatch, module, name, ending):
    path = exports / f"a.{ending}"
    for error in ERRORS:
        with monkeypatch.context() as patch:
            patch.setattr(module, name, raising(error))
            with pytest.raises(DataError) as caught:
                for _ in export_readings(path, None, Mill(), Tally()):
                    pass
        assert str(path) in caught.value.where, type(error)
        assert caught.value.what.strip() and caught.value.next_step.strip(), type(error)
        assert "\n" not in caught.value.what


@pytest.mark.slow
def test_what_is_raised_in_the_middle_becomes_a_refused_file(exports, monkeypatch, tmp_path):
    from pipeline.exports import values

    for number, error in enumerate(ERRORS):
        with monkeypatch.context() as patch:
            patch.setattr(values, "to_numbers", raising(error))
            patch.setattr(quick, "Meanings", raising(error))
            with pytest.raises(DataError):
                survey.survey_export(Mill(), exports / "a.csv")
            # A whole pull goes through the same door, at ten times the cost: some of each library,
            # and all that is no ordinary exception.
            if number % 5 == 0 or not isinstance(error, Exception):
                with pytest.raises(DataError):
                    pull_files(Pulling(tmp_path / f"{number % 7}"), [exports / "a.csv"])


class Pulling(Mill):
    """A mill with a lake."""

    def __init__(self, lake):
        self.lake_path, self.incoming_path = lake, lake / "incoming"


def test_what_is_no_fault_of_the_file_passes(exports, monkeypatch):
    for error in PASS:
        with monkeypatch.context() as patch:
            patch.setattr(tables, "open_text", raising(error))
            with pytest.raises(type(error)) as caught:
                list(export_readings(exports / "a.csv", None, Mill(), Tally()))
        assert caught.value is error
    full = OSError(errno.ENOSPC, "No space left on device")
    monkeypatch.setattr(tables, "open_text", raising(full))
    with pytest.raises(DiskError):
        list(export_readings(exports / "a.csv", None, Mill(), Tally()))


@pytest.mark.slow
def test_the_quick_way_leaves_every_error_to_the_thorough_one(exports, monkeypatch):
    for error in ERRORS:
        with monkeypatch.context() as patch:
            patch.setattr(quick, "TextSource", raising(error))
            tally = Tally()
            read = stage._quickly(Mill(), exports / "a.csv", tally, Words(), None)
            with pytest.raises(quick.NotPlainError):
                list(read)


class Words:
    """Names of tags and reasons, of which none is asked for."""

    tags = reasons = None


def test_every_error_of_our_own_is_one_the_door_knows():
    assert issubclass(DataError, LostpolError)
    assert issubclass(LostpolError, door.PASSING)
