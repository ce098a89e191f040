"""Errors in the language of their reader: labels, what, where and next, and nothing in English."""

import errno
from pathlib import Path

import pytest
from tongue_checker import english_told

from pipeline.base import errors, full_disk, only_run
from pipeline.base.errors import DiskError, LakeError, LostpolError, StoreBusyError, UnwellError
from pipeline.care import require_well
from pipeline.care.signs import Sign
from pipeline.cli import app, spoken
from pipeline.cli.terminal import show_error
from pipeline.lake.storage import FolderStorage
from pipeline.mail.mail import send_report
from pipeline.mill.description import load_mill
from pipeline.words import said

ROOT = Path(__file__).resolve().parents[3]
LABELS = {
    "es": ("Qué:", "Dónde:", "Siguiente:"),
    "pt": ("O quê:", "Onde:", "Próximo:"),
    "fr": ("Quoi\u00a0:", "Où\u00a0:", "Ensuite\u00a0:"),
}
#: What the library that reads descriptions says, in its own words.
OF_TOML = "Expected ']' at the end of a table declaration (at line 1, column 6)"
FAULTY = """
[mill]
name = "Brindlewater"
key = "Brindle Water"
zone = "America/Chicgo"
store = "store"
colour = "red"
[tags."FT1"]
quantity = "flwo"
place = "nowhere"
unit = "psi"
[[train]]
name = "a"
kind = "settler"
volume_m3 = -3
[schedule]
nightly = "5 a.m."
longest_run_min = "soon"
"""
#: Columns that can be read in two ways, and files that are none, with a word of the answer.
EXPORTS = {
    "decimals": "time;tag;value\n2025-10-06 05:00;FT;1,234\n2025-10-06 06:00;FT;2,345\n",
    "dates": "time,tag,value\n03/04/2025 05:00,FT,1.5\n05/06/2025 05:00,FT,1.6\n",
    "quality": "time,tag,value,quality\n2025-10-06 05:00,FT,1.5,perhaps\n",
    "no tag": "time,value\n2025-10-06 05:00,1.5\n2025-10-06 05:01,1.6\n",
    "other tags": "time,tag,value\n2025-10-06 05:00,XX,1.5\n2025-10-06 05:01,XX,1.6\n",
    "no times": "name,colour\nsettler,red\nheater,blue\n",
    "empty": "",
}


@pytest.fixture(autouse=True)
def own_tongue():
    """What a command was told holds for that command."""
    yield
    spoken.without_language([])


@pytest.fixture(params=LABELS)
def language(request):
    return request.param


@pytest.fixture
def mill_file(tmp_path):
    path = tmp_path / "mill.toml"
    text = (ROOT / "configs" / "demo_mill.toml").read_text("utf-8")
    path.write_text(text, "utf-8")
    return path


@pytest.fixture
def told(capsys, tmp_path, language):
    """Run a command in a language and give what it said of its error."""

    def tell(*words):
        code = app.run([*map(str, words), "--language", language])
        return code, understood(capsys.readouterr().err, language, tmp_path, OF_TOML)

    return tell


def understood(text, language, *kept):
    """An error that shows its three labels, and no word of English beside what was given."""
    what, where, next_step = LABELS[language]
    lines = text.splitlines()
    assert lines[0].startswith(what)
    (at,) = (n for n, line in enumerate(lines) if line.startswith(where))
    (end,) = (n for n, line in enumerate(lines) if line.startswith(next_step))
    first = lines[at].index(lines[at].removeprefix(where).strip())
    # Further places stand below the first one.
    assert all(line[:first].isspace() for line in lines[at + 1 : end])
    assert english_told(text, language, [str(words) for words in kept]) == []
    return text


def test_what_is_typed_wrong(told, mill_file):
    for words in (
        ("findngs",),
        ("findings", mill_file, "--odd"),
        ("findings", mill_file, "--most", "many"),
        ("refused", mill_file, "--limit", "-3"),
        ("backfill", mill_file, "--from", "yesterday"),
        ("completion", "dosh"),
        ("standing", "--ph", "6.9"),
        ("pull", mill_file),
        ("standing", "--ph", "1", "--ph-at", "cold", "--temp", "97", "--brix", "15",
         "--hours", "8"),
        ("note", mill_file, "text"),
    ):  # fmt: skip
        assert told(*words)[0] == errors.ConfigError.exit_code, words


def test_a_description_with_faults(told, tmp_path):
    faulty = tmp_path / "faulty.toml"
    for text in (FAULTY, "[mill\n", "[mill]\nname = 'x'\n"):
        faulty.write_text(text, "utf-8")
        assert told("check", faulty)[0] == errors.ConfigError.exit_code
    assert told("check", tmp_path)[0] == errors.ConfigError.exit_code
    assert told("check", tmp_path / "absent.toml")[0] == errors.ConfigError.exit_code


@pytest.mark.parametrize("kind", EXPORTS)
def test_an_export_that_cannot_be_read(told, mill_file, tmp_path, kind):
    path = tmp_path / "export.csv"
    path.write_text(EXPORTS[kind], "utf-8")
    assert told("pull", mill_file, path)[0] in {2, 3}


def test_a_store_without_findings(told, mill_file):
    for command in ("levers", "weekly", "explain"):
        extra = ["abc"] if command == "explain" else []
        assert told(command, mill_file, *extra)[0] in {2, 3}


def test_a_store_that_another_run_holds(told, mill_file):
    with only_run(load_mill(mill_file)):
        assert told("backfill", mill_file)[0] == StoreBusyError.exit_code


@pytest.fixture
def raised(mill_file, tmp_path, monkeypatch):
    """Errors that no command meets at will, each made by what raises it."""
    mill = load_mill(mill_file)

    def caught(act):
        with pytest.raises(LostpolError) as found:
            act()
        return found.value

    def unmailed():
        send_report(load_mill(ROOT / "configs" / "template.toml"), tmp_path / "night.html")

    (tmp_path / "taken").write_text("a file", "utf-8")
    return [
        full_disk(OSError(errno.ENOSPC, "No space left on device"), tmp_path),
        full_disk(OSError(errno.EROFS, "Read-only file system"), tmp_path),
        caught(lambda: require_well(mill, [Sign(said("Disk"), "wrong", "5 MiB")])),
        caught(lambda: FolderStorage(tmp_path / "taken" / "lake").make_ready()),
        caught(unmailed),
        caught(lambda: app._stop(15, None)),
    ]


def test_other_kinds_of_errors(raised, language, capsys, tmp_path):
    spoken.without_language(["--language", language])
    kinds = {DiskError, UnwellError, LakeError, errors.DeliveryError, LostpolError}
    assert {type(error) for error in raised} == kinds
    for error in raised:
        show_error(error)
        of_system = ("no space left on device", "read-only file system", "not a directory")
        understood(capsys.readouterr().err, language, tmp_path, *of_system)
