"""Errors are made of texts that have words in every tongue, but for those of developers."""

import pytest
from catalogues import ROOT
from raises import untold, untold_in

#: Marking of lostpol itself, on mills that only developers simulate: it stays English.
OF_DEVELOPERS = {"cli/scorecard.py", "proof/processes.py", "proof/scorecard.py"}


def test_no_error_of_the_sources_forgets_how_it_was_made():
    found = list(untold_in(ROOT / "pipeline"))
    cure = 'make it with said("... {name}", name=...) and find words for it (DEVELOPERS.md)'
    assert [each for each in found if each[0] not in OF_DEVELOPERS] == [], cure
    # Who is no longer excused is taken off the list.
    assert {each[0] for each in found} == OF_DEVELOPERS


@pytest.mark.parametrize(
    "source",
    [
        'raise DataError(f"{name} cannot be read.", where, cure)',
        'raise ConfigError(said("A fault."), where, "Mend it now.")',
        'cure = "Mend it now."\nraise base.ConfigError(said("A fault."), where, cure)',
        'def _cure():\n    return "Mend it now."\nraise LakeError(said("A"), where, _cure())',
        'what, cure = ("It is broken.", said("A"))\nraise DataError(what, where, cure)',
        'raise DataError(said("A fault.") if odd else "It is odd.", where, cure)',
        'yield Sign(said("Disk"), "wrong", f"{free} MiB are free", "")',
    ],
)
def test_a_text_that_forgets_is_found(source):
    assert len(set(untold(source))) == 1


def test_what_needs_no_words_is_let_be():
    assert not list(untold('raise DataError(said("A fault."), f"{path}: {error}", "--out")'))
    assert not list(untold('raise ValueError("only for who writes code")'))
