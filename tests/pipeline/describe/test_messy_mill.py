"""The tutorial does what its text says, on the sample that its maker makes."""

import zipfile

import pytest
import tutorial
from first_hour import make
from messy_mill import SPEC
from python_calamine import CalamineWorkbook

from pipeline.cli.app import run
from pipeline.mill.description import load_mill
from pipeline.store import published_store_of

STEPS = tutorial.steps(tutorial.TEXT.read_text(encoding="utf-8"))
#: What was done to the mill (the simulator's own truth): cause, tonnes.
PLANTED = {
    "low_limed_ph": 0.7295,
    "standing_juice": 0.4989,
    "mud_held": 0.2811,
    "microbial": 5.5984,
}


@pytest.fixture(scope="module")
def here(tmp_path_factory):
    """The folder in which all steps of the tutorial were carried out, and what each printed."""
    folder = tutorial.prepare(STEPS[0], tmp_path_factory.mktemp("tutorial"))
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        said = [tutorial.carry_out(step) for step in STEPS[1:]]
    return folder, said


@pytest.mark.slow
def test_what_the_text_shows_is_printed(here):
    _, said = here
    for step, printed in zip(STEPS[1:], said, strict=True):
        assert step.shown or not step.commands
        wrong = tutorial.differences(step.shown, printed)
        assert not wrong, "\n".join([*wrong, "is not printed by", *step.commands, "but:", printed])


@pytest.mark.slow
def test_the_four_losses_are_found_and_nothing_else(here):
    folder, _ = here
    rows = published_store_of(load_mill(folder / "tatu.toml")).findings().to_dicts()
    assert {row["cause"] for row in rows} == set(PLANTED)
    assert len(rows) == len(PLANTED)
    for row in rows:
        assert row["lost_t_low"] <= PLANTED[row["cause"]] <= row["lost_t_high"]


@pytest.mark.slow
def test_pages_and_pictures_that_the_text_names_are_there(here):
    folder, _ = here
    text = tutorial.TEXT.read_text(encoding="utf-8")
    report = "lostpol_store/usina_riacho_do_tatu/reports/2025-07-16"
    assert report in text
    assert (folder / report / "backfill.html").is_file()
    assert (folder / "tatu.html").is_file()
    for name in tutorial.PICTURES:
        assert f"](pictures/{name})" in text
        assert (tutorial.HOME / "pictures" / name).stat().st_size <= 200_000
    for path in (tutorial.HOME / "exports").iterdir():
        assert f"`{path.name}`" in text
    assert sum(p.stat().st_size for p in tutorial.HOME.rglob("*") if p.is_file()) < 3_000_000


@pytest.mark.slow
def test_the_draft_marks_what_matters_and_says_where_it_is_cut(here):
    folder, _ = here
    lines = (folder / "tatu.toml").read_text(encoding="utf-8").splitlines()
    # A pH has no unit that a book could forget.
    assert [line for line in lines if line.startswith('unit = "pH"')] == ['unit = "pH"'] * 6
    volume = next(line for line in lines if line.startswith("volume_m3 = 430.0"))
    assert volume.endswith("# of the clear zone alone: the mud zone, below, comes on top of it")
    reasons = [line for line in lines if line.startswith("# likely. ")]
    assert len(reasons) == 22
    assert all(line.endswith((".", " …")) for line in reasons)
    (boiler,) = (line for line in lines if "20.9 kgf/cm²" in line)
    assert boiler.startswith("# nothing of the station by its name")


@pytest.mark.slow
def test_nothing_worked_out_is_not_no_loss(here, tmp_path, monkeypatch, capsys):
    folder, _ = here
    text = (folder / "tatu.toml").read_text(encoding="utf-8")
    (tmp_path / "tatu.toml").write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert run(["pull", "tatu.toml", str(folder / "exports" / "boletim_lab.xlsx")]) == 0
    capsys.readouterr()
    assert run(["findings", "tatu.toml"]) == 0
    said = capsys.readouterr().out
    assert said == "Nothing has been worked out yet. Next: lostpol backfill tatu.toml\n"


@pytest.mark.slow
def test_a_note_among_the_exports_may_be_left_out(here, capsys):
    folder, _ = here
    note = folder / "exports" / "LEIA-ME.txt"
    assert run(["check", str(folder / "tatu.toml"), str(note)]) == 3
    assert "A file that is no export is left out." in capsys.readouterr().err


def test_a_text_that_says_what_is_not_printed_is_noticed():
    said = "one line\nanother  line that goes on\nlast\n"
    assert tutorial.differences(["one line", "...", "another line ...", "last"], said) == []
    assert tutorial.differences(["one lime"], said) == ["one lime"]
    assert tutorial.differences(["last", "one line"], said) == ["one line"]
    assert tutorial.differences(["another line"], said) == ["another line"]


def _cells(path):
    """Rows of an export of the sample, whatever its form."""
    if path.suffix == ".xlsx":
        book = CalamineWorkbook.from_path(path)
        return [
            row for name in book.sheet_names for row in book.get_sheet_by_name(name).to_python()
        ]
    if path.suffix == ".zip":
        with zipfile.ZipFile(path) as packed:
            return [packed.read(name).splitlines() for name in packed.namelist()]
    return path.read_bytes().splitlines()


@pytest.mark.slow
def test_the_sample_is_what_its_maker_makes(tmp_path):
    made = make(SPEC, tmp_path / "exports")
    kept = tutorial.HOME / "exports"
    assert sorted(p.name for p in kept.iterdir()) == sorted(p.name for p in made.files)
    for path in made.files:
        assert _cells(path) == _cells(kept / path.name), path.name
