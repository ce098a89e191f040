"""Errors: three parts, one exit code a kind."""

import pickle

import pytest

from pipeline.base.errors import (
    ConfigError,
    DataError,
    DeliveryError,
    DiskError,
    LakeError,
    LostpolError,
    StoreBusyError,
    UnwellError,
)
from pipeline.base.message import Said, figure, said
from pipeline.tongue import tongue_of

KINDS = [
    LostpolError,
    ConfigError,
    DataError,
    StoreBusyError,
    DeliveryError,
    DiskError,
    UnwellError,
    LakeError,
]


def test_each_kind_has_its_own_exit_code():
    assert [kind.exit_code for kind in KINDS] == [1, 2, 3, 4, 5, 6, 7, 8]


@pytest.mark.parametrize("kind", KINDS)
def test_an_error_reads_as_three_lines(kind):
    error = kind("It broke.", "tags.csv", "Mend it.")
    assert str(error).splitlines() == ["What:  It broke.", "Where: tags.csv", "Next:  Mend it."]


def test_further_places_are_indented():
    lines = str(DataError("Two faults.", "a.csv\nb.csv", "Mend both.")).splitlines()
    assert lines[1:3] == ["Where: a.csv", "       b.csv"]


@pytest.mark.parametrize("kind", KINDS)
def test_an_error_survives_the_way_between_processes(kind):
    error = pickle.loads(pickle.dumps(kind("It broke.", "tags.csv", "Mend it.")))
    assert (error.what, error.where, error.next_step) == ("It broke.", "tags.csv", "Mend it.")


def test_an_error_can_still_be_told_in_another_tongue_after_that_way():
    made = DataError(said("{n} times", n=figure(1234.5, ",.1f")), "tags.csv", said("mixed juice"))
    error = pickle.loads(pickle.dumps(made))
    assert isinstance(error.what, Said) and error.what.made == made.what.made
    assert tongue_of("es")(error.next_step) == "jugo mezclado"
