"""Letters that wait, are unsure or damaged: kept, told of, and sent at most once."""

import subprocess
import sys
from dataclasses import replace
from email import message_from_bytes, policy

import pytest
from mail_server import DEMO, QUICK, at, states
from processes import PATIENCE_S, ending

from pipeline.base.errors import ConfigError, DataError, DeliveryError, StoreBusyError
from pipeline.base.lock import only_sender
from pipeline.cli import app
from pipeline.mail.mail import flush, outbox_of, put_back, queue, send_report
from pipeline.mill.description import load_mill

FLUSH = """
import sys
from dataclasses import replace
from pathlib import Path
from pipeline.cli import app as cli
from pipeline.mill.description import load_mill
from pipeline.mail import flush
mill = load_mill(Path(sys.argv[1]))
mail = mill.mail.model_copy(update={"host": "127.0.0.1", "port": int(sys.argv[3]),
    "start_tls": False})
flush(replace(mill, mail=mail, store_path=Path(sys.argv[2])))
"""


def test_no_answer_after_the_last_line_leaves_it_unsure_and_sends_no_second(
    mill, report, inbox, port
):
    inbox.slow_s = 0.8
    with pytest.raises(DeliveryError, match="whether they arrived is not known"):
        send_report(at(mill, port), report, patience=QUICK)
    inbox.slow_s = 0.0
    assert flush(at(mill, port), QUICK) == []
    assert states(mill) == ["unsure"]
    assert len(inbox.mails) == 1
    assert outbox_of(mill).message(outbox_of(mill).letters()[0])


def test_the_next_report_tells_of_a_letter_that_became_unsure(mill, report, inbox, port):
    here = at(mill, port)
    queue(here, report, "<p>killed night</p>")
    box = outbox_of(mill)
    box.change(box.letters()[0], "handing_over")
    with pytest.raises(DeliveryError, match="1 were handed over, but whether"):
        send_report(here, report, patience=QUICK)
    assert sorted(states(mill)) == ["sent", "unsure"]
    report.write_text("<p>the night after</p>", encoding="utf-8")
    send_report(here, report, patience=QUICK)


@pytest.mark.parametrize(
    ("moment", "arrived", "after"), [("rcpt", 0, ["sent"]), ("data", 1, ["unsure"])]
)
def test_killed_while_sending(mill, report, inbox, port, moment, arrived, after):
    """Before the last line it is sent again; after it, never: the server has it."""
    here = at(mill, port)
    queue(here, report, report.read_text(encoding="utf-8"))
    command = [sys.executable, "-c", FLUSH, str(DEMO), str(mill.store_path), str(port)]
    with ending(command, stderr=subprocess.DEVNULL) as sender:
        setattr(inbox, f"on_{moment}", sender.kill)
        assert sender.wait(PATIENCE_S) == -9
    assert len(inbox.mails) == arrived
    inbox.on_rcpt = lambda: None
    try:
        flush(here, QUICK)
    except DeliveryError as error:
        assert after == ["unsure"]
        assert "stopped before the server answered" in error.where
    assert states(mill) == after
    assert inbox.readers == ["a@x.example"]


def test_only_a_person_sends_an_unsure_letter_again(mill, report, inbox, port):
    inbox.slow_s = 0.5
    with pytest.raises(DeliveryError):
        send_report(at(mill, port), report, patience=QUICK)
    inbox.slow_s = 0.0
    name = outbox_of(mill).letters()[0].name
    put_back(mill, name[:6])
    flush(at(mill, port), QUICK)
    assert states(mill) == ["sent"]
    # A second copy, if the first did arrive, bears the same Message-ID.
    assert len({message_from_bytes(raw)["Message-ID"] for _, raw in inbox.mails}) == 1
    with pytest.raises(ConfigError, match="no single mail"):
        put_back(mill, name)


def test_the_outbox_command(tmp_path, report, inbox, port, capsys):
    text = DEMO.read_text(encoding="utf-8")
    text = text.replace('host = "mail.brindlewater.example"', 'host = "127.0.0.1"')
    text = text.replace("[mail]\n", f"[mail]\nport = {port}\nstart_tls = false\n")
    kept = [x for x in text.splitlines() if not x.startswith(("port = 587", "start_tls = true"))]
    kept = ['store = "store"' if x.startswith("store =") else x for x in kept]
    path = tmp_path / "mill.toml"
    path.write_text("\n".join(kept), encoding="utf-8")
    described = load_mill(path)
    assert app.run(["outbox", str(path)]) == 0
    assert "The outbox is empty" in capsys.readouterr().out
    queue(described, report, "<p>page</p>")
    assert app.run(["outbox", str(path)]) == 0
    said = capsys.readouterr().out
    assert "waiting" in said
    assert "America/Chicago" in said
    assert app.run(["outbox", str(path), "--send"]) == 0
    assert len(inbox.mails) == len(described.mail.recipients)
    assert "sent" in capsys.readouterr().out
    assert app.run(["outbox", str(path), "--again", "abcd"]) == 2


@pytest.mark.parametrize("damage", ["", "[]", '{"state": "sent"}', "elsewhere"])
def test_a_damaged_letter_is_named(mill, report, damage):
    name = queue(at(mill, 25), report, "<p>page</p>")
    path = outbox_of(mill).path / name / "000.json"
    text = path.read_text().replace(name, "../../elsewhere") if damage == "elsewhere" else damage
    path.write_text(text)
    with pytest.raises(DataError, match="cannot be read") as caught:
        flush(at(mill, 25), QUICK)
    assert str(path) in caught.value.where


def test_two_senders_at_a_time_are_one_too_many(mill, report, port):
    with (
        only_sender(mill),
        pytest.raises(StoreBusyError, match="Another lostpol is sending"),
        only_sender(mill, patience_s=0.1),
    ):
        pytest.fail("two held it")


def test_each_reader_gets_the_report_in_the_own_language(mill, report, inbox, port):
    french = report.with_name("nightly.fr.html")
    french.write_text("<p>La nuit</p>", encoding="utf-8")
    reader, other = "chef@x.example", "chief@x.example"
    here = at(mill, port)
    mail = here.mail.model_copy(update={"recipients": (other, reader), "languages": {reader: "fr"}})
    send_report(replace(here, mail=mail), report)
    told = {to: message_from_bytes(raw, policy=policy.default) for to, raw in inbox.mails}
    assert "La nuit" in told[reader].get_body(("html",)).get_content()
    assert told[reader]["Subject"].startswith("Pertes de saccharose à")
    assert "La nuit" not in told[other].get_body(("html",)).get_content()
    assert told[other]["Subject"].startswith("Sucrose losses at")
