"""A command in the language that was asked for, or the mill's."""

import pytest

from pipeline.base import ConfigError
from pipeline.cli import app, spoken
from pipeline.cli.terminal import harmless
from pipeline.mill.description import load_mill
from pipeline.words import said


@pytest.fixture(autouse=True)
def own_tongue():
    """What a command was told holds for that command."""
    yield
    spoken.without_language([])


@pytest.fixture
def spanish(tmp_path, mill_file):
    text = mill_file.read_text("utf-8").replace('# language = "en"', 'language = "es"')
    path = tmp_path / "mill.toml"
    path.write_text(text, "utf-8")
    return path


@pytest.fixture
def mill_file():
    from pathlib import Path

    return Path(__file__).parents[3] / "configs" / "template.toml"


def test_language_is_taken_out_of_the_words_and_kept():
    assert spoken.without_language(["findings", "--language", "fr", "X"]) == ["findings", "X"]
    assert spoken.spoken(said("mixed juice")) == "jus mélangé"
    assert spoken.without_language(["findings", "--language=pt"]) == ["findings"]
    assert spoken.spoken(said("mixed juice")) == "caldo misto"
    assert spoken.without_language(["findings"]) == ["findings"]
    assert spoken.spoken(said("mixed juice")) == "mixed juice"


def test_a_command_speaks_as_its_mill_unless_asked_otherwise(spanish):
    spoken.without_language([])
    assert spoken.load_mill(spanish).reports.language == "es"
    assert spoken.spoken(said("mixed juice")) == "jugo mezclado"
    spoken.without_language(["--language", "en"])
    assert spoken.load_mill(spanish).reports.language == "en"
    assert spoken.spoken(said("mixed juice")) == "mixed juice"


def test_a_language_without_words_is_told_with_those_that_have(capsys):
    assert app.run(["findings", "x.toml", "--language", "xx"]) == ConfigError.exit_code
    assert "en, es, pt, fr" in capsys.readouterr().err


def test_the_language_changes_no_finding(spanish, mill_file):
    # Reports already made, and what is searched, do not depend on who reads.
    assert load_mill(spanish).config_hash == load_mill(mill_file).config_hash


@pytest.mark.parametrize("language", ["es", "pt", "fr"])
def test_check_speaks_one_tongue_and_its_spaces_come_through(mill_file, capsys, language):
    """French sets no-break spaces before its colons; no line may stay in English."""
    assert app.run(["check", str(mill_file), "--language", language]) in (0, 3)
    told = capsys.readouterr().out
    assert "?" not in told.replace("¿", "")
    english = ("the ", "What ", "Losses", "sucrose", "samples", "readings", "Level of")
    assert not [word for word in english if word in told]


def test_what_a_terminal_must_not_print_is_taken_out():
    assert harmless("tank\x1b[2J\u00a0: \u202f7") == "tank?[2J\u00a0: \u202f7"
