"""Reports by mail through a real mail server: what arrives, once, and what it refuses."""

import asyncio
from dataclasses import replace
from email import message_from_bytes, policy

import pytest
from mail_server import QUICK, at, free_port, serving, states

from pipeline.base.errors import ConfigError, DeliveryError
from pipeline.mail.mail import flush, outbox_of, send_report


def test_page_text_and_pdf_arrive(mill, report, inbox, port):
    report.with_suffix(".txt").write_text("2.8 t lost, é\n.\n", encoding="utf-8")
    report.with_suffix(".pdf").write_bytes(b"%PDF-1.7\n.\r\n\x00\xff")
    send_report(at(mill, port), report, patience=QUICK)
    ((_, raw),) = inbox.mails
    assert max(map(len, raw.split(b"\r\n"))) <= 998  # RFC 5321, section 4.5.3.1.6
    message = message_from_bytes(raw, policy=policy.default)
    assert message["Subject"] == "Sucrose losses at Brindlewater: nightly report 2025-11-30"
    assert message["To"] == "a@x.example"
    page, text = (message.get_body((kind,)).get_content() for kind in ("html", "plain"))
    assert page.replace("\r\n", "\n").rstrip() == report.read_text(encoding="utf-8")
    assert text.replace("\r\n", "\n") == "2.8 t lost, é\n.\n"
    (pdf,) = message.iter_attachments()
    assert pdf.get_filename() == "brindlewater_2025-11-30_nightly.pdf"
    assert pdf.get_content() == b"%PDF-1.7\n.\r\n\x00\xff"
    assert states(mill) == ["sent"]


def test_silence_stands_first_in_the_subject_and_makes_no_second_message(mill, report, inbox, port):
    for days in (5, 6):
        first = f"Nothing since Sat 29 Nov 23:58: {days} days.\nBcc: all@x.example"
        send_report(at(mill, port), report, "run", first, patience=QUICK)
    ((_, raw),) = inbox.mails
    message = message_from_bytes(raw, policy=policy.default)
    assert message["Subject"].startswith("Nothing since Sat 29 Nov 23:58: 5 days.")
    assert message["Subject"].endswith("nightly report 2025-11-30")
    assert message["Bcc"] is None


def test_links_to_what_lies_in_the_store_stay_behind(mill, report, inbox, port):
    there = '<a href="../dossier/0a/dossier.html">0a</a> <a href="https://x.example/">b</a>'
    report.write_text(f"<p>finding {there}</p>", encoding="utf-8")
    send_report(at(mill, port), report, patience=QUICK)
    message = message_from_bytes(inbox.mails[0][1], policy=policy.default)
    page = message.get_body(("html",)).get_content()
    assert page.rstrip() == '<p>finding 0a <a href="https://x.example/">b</a></p>'


def test_without_a_pdf_the_page_is_attached(mill, report, inbox, port):
    send_report(at(mill, port), report, patience=QUICK)
    message = message_from_bytes(inbox.mails[0][1], policy=policy.default)
    (page,) = message.iter_attachments()
    assert page.get_filename() == "brindlewater_2025-11-30_nightly.html"
    assert "only advises" in message.get_body(("plain",)).get_content()


def test_the_same_report_is_sent_once_and_a_new_one_again(mill, report, inbox, port):
    here = at(mill, port, recipients=("a@x.example", "b@x.example"))
    for _ in range(3):
        send_report(here, report, patience=QUICK)
    assert inbox.readers == ["a@x.example", "b@x.example"]
    report.write_text("<p>3.1 t lost</p>", encoding="utf-8")
    send_report(here, report, patience=QUICK)
    assert len(inbox.mails) == 4
    names = {message_from_bytes(raw)["Message-ID"] for _, raw in inbox.mails}
    assert len(names) == 2


def test_a_report_made_again_for_the_same_run_is_not_sent_again(mill, report, inbox, port):
    for run, page in (("run1", "made at 05:00"), ("run1", "made at 05:10"), ("run2", "new data")):
        report.write_text(page, encoding="utf-8")
        send_report(at(mill, port), report, run, QUICK)
    pages = [message_from_bytes(raw, policy=policy.default) for _, raw in inbox.mails]
    told = [page.get_body(("html",)).get_content().strip() for page in pages]
    assert told == ["made at 05:00", "new data"]


def test_a_server_that_is_down_gets_it_when_it_is_back(mill, report, inbox):
    port = free_port()
    with pytest.raises(DeliveryError, match="1 wait in the outbox") as caught:
        send_report(at(mill, port), report, patience=QUICK)
    assert str(report) in caught.value.where
    assert outbox_of(mill).letters()[0].tries == 3
    report.rename(report.with_name("gone.html"))
    with serving(inbox) as port:
        flush(at(mill, port), QUICK)
        flush(at(mill, port), QUICK)
    assert len(inbox.mails) == 1
    assert states(mill) == ["sent"]


def test_mail_that_waits_goes_before_the_next_report(mill, report, inbox, port):
    with pytest.raises(DeliveryError):
        send_report(at(mill, free_port()), report, patience=QUICK)
    report.write_text("<p>the next night</p>", encoding="utf-8")
    send_report(at(mill, port), report, patience=QUICK)
    assert [
        "next night"
        in message_from_bytes(raw, policy=policy.default).get_body(("html",)).get_content()
        for _, raw in inbox.mails
    ] == [False, True]


def test_a_greylisting_server_gets_it_on_a_later_try(mill, report, inbox, port):
    inbox.answers = {"a@x.example": ["451 try again", "450 and again"]}
    send_report(at(mill, port), report, patience=QUICK)
    assert inbox.readers == ["a@x.example"]
    assert outbox_of(mill).letters()[0].tries == 3


def test_a_refused_reader_is_named_and_the_others_get_it(mill, report, inbox, port):
    inbox.answers = {"no@x.example": ["550 nobody here"] * 9}
    everybody = ("no@x.example", "a@x.example")
    with pytest.raises(DeliveryError, match="1 were refused") as caught:
        send_report(at(mill, port, recipients=everybody), report, patience=QUICK)
    assert "no@x.example: 550 nobody here" in caught.value.where
    assert "a@x.example" not in caught.value.where
    assert inbox.readers == ["a@x.example"]
    assert flush(at(mill, port), QUICK) == []
    assert states(mill) == ["refused", "sent"]


def test_a_message_refused_whole_is_kept(mill, report, inbox, port):
    inbox.answers = {"data": ["552 too large"]}
    with pytest.raises(DeliveryError, match="refused"):
        send_report(at(mill, port), report, patience=QUICK)
    (letter,) = outbox_of(mill).letters()
    assert (letter.state, letter.said) == ("refused", "552 too large")
    assert outbox_of(mill).message(letter)


def test_a_full_server_is_tried_again(mill, report, inbox, port):
    inbox.answers = {"data": ["452 disk full"]}
    send_report(at(mill, port), report, patience=QUICK)
    assert len(inbox.mails) == 1


def test_a_server_that_never_greets_is_given_up_in_time(mill, report):
    async def mute(reader, writer):
        await reader.read()
        writer.close()

    loop = asyncio.new_event_loop()
    server = loop.run_until_complete(asyncio.start_server(mute, "127.0.0.1", 0))
    try:
        # The system takes the connection by itself; nobody ever speaks.
        port = server.sockets[0].getsockname()[1]
        with pytest.raises(DeliveryError, match="wait in the outbox") as caught:
            send_report(at(mill, port), report, patience=replace(QUICK, answer_s=0.1))
        assert "timed out" in caught.value.where
        assert states(mill) == ["waiting"]
    finally:
        server.close()
        loop.run_until_complete(server.wait_closed())
        loop.close()


# What a description or a name may try.


@pytest.mark.parametrize(
    "name",
    ["x\r\nBcc: everybody@x.example", "a\x00b", "\u202eevil", "y" * 5000, "=?utf-8?q?z?=", "é"],
)
def test_a_hostile_name_is_only_a_subject(mill, report, inbox, port, name):
    send_report(at(replace(mill, name=name), port), report, patience=QUICK)
    message = message_from_bytes(inbox.mails[0][1], policy=policy.default)
    assert message["Bcc"] is None
    assert message["Subject"].strip().startswith("Sucrose losses at ")
    assert message["Subject"].endswith("nightly report 2025-11-30")
    assert set(message.keys()) == {
        *("Subject", "From", "To", "Date", "Message-ID", "Auto-Submitted", "MIME-Version"),
        "Content-Type",
    }


def test_an_address_that_is_none_is_told(mill, report):
    with pytest.raises(ConfigError, match="no mail address"):
        send_report(at(mill, 25, recipients=("ä@x.example",)), report, patience=QUICK)


def test_nobody_to_send_to(mill, report):
    with pytest.raises(DeliveryError, match="names nobody"):
        send_report(replace(mill, mail=None), report)
