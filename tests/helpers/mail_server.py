"""A real mail server for tests, whose every step a test may change, and a mill that mails to it.

The server is aiosmtpd, which follows RFC 5321.
"""

import asyncio
import threading
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from aiosmtpd.smtp import SMTP
from processes import PATIENCE_S

from pipeline.mail.mail import outbox_of
from pipeline.mail.smtp import Patience
from pipeline.mill.description import load_mill

DEMO = Path(__file__).resolve().parents[2] / "configs" / "demo_mill.toml"
BRINDLEWATER = load_mill(DEMO)
QUICK = Patience(waits_s=(0.0, 0.01), answer_s=2.0, receipt_s=0.3)


class Inbox:
    """What the server does with mail; tests change one step at a time."""

    def __init__(self):
        self.mails = []
        self.answers = {}
        self.on_rcpt = self.on_data = lambda: None
        self.slow_s = 0.0

    async def handle_RCPT(self, server, session, envelope, address, options):  # noqa: N802
        self.on_rcpt()
        said = self.answers.get(address)
        if said:
            return said.pop(0)
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        said = self.answers.get("data")
        if said:
            return said.pop(0)
        self.mails.append((envelope.rcpt_tos[0], envelope.original_content or envelope.content))
        self.on_data()
        await asyncio.sleep(self.slow_s)
        return "250 taken"

    @property
    def readers(self):
        return [address for address, _ in self.mails]


@contextmanager
def serving(inbox, ssl_context=None, **how):
    """The server on a port of its own, in a thread of its own."""
    loop = asyncio.new_event_loop()

    def one():
        return SMTP(inbox, hostname="mail.x.example", loop=loop, **how)

    server = loop.run_until_complete(loop.create_server(one, "127.0.0.1", 0, ssl=ssl_context))
    thread = threading.Thread(target=loop.run_forever, daemon=True)
    thread.start()
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        try:
            asyncio.run_coroutine_threadsafe(closed(server), loop).result(PATIENCE_S)
        finally:
            loop.call_soon_threadsafe(loop.stop)
            thread.join()
            loop.close()


async def closed(server):
    server.close()
    rest = asyncio.all_tasks() - {asyncio.current_task()}
    for task in rest:
        task.cancel()
    await asyncio.gather(*rest, return_exceptions=True)


def at(mill, port, **changes):
    mail = {"host": "127.0.0.1", "port": port, "start_tls": False, "recipients": ("a@x.example",)}
    return replace(mill, mail=BRINDLEWATER.mail.model_copy(update=mail | changes))


def states(mill):
    return [letter.state for letter in outbox_of(mill).letters()]


def free_port():
    with serving(Inbox()) as number:
        return number
