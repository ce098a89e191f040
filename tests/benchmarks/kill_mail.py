"""Kill the sending of mail at random moments, and count what the mail server got.

    python tests/benchmarks/kill_mail.py --kills 300

Each round queues a report for three readers and kills the sender after a random time; the next
round sends on. In the end nothing may have been taken twice, nothing called sent may be missing,
and nothing may be neither sent nor unsure. How many letters a kill leaves unsure is printed beside
what became of them: a server that answers slowly leaves more.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from dataclasses import replace
from email import message_from_bytes
from pathlib import Path

from aiosmtpd.smtp import SMTP

from pipeline.base.errors import LostpolError
from pipeline.mail.mail import flush, outbox_of, queue
from pipeline.mail.smtp import Patience
from pipeline.mill.description import load_mill

ROOT = Path(__file__).resolve().parents[2]
READERS = ("a@x.example", "b@x.example", "c@x.example")


class Ledger:
    """Writes down each letter the moment it is taken, then answers after a while."""

    def __init__(self, path: Path, answer_s: float) -> None:
        self.path, self.answer_s = path, answer_s

    async def handle_DATA(self, server, session, envelope):  # noqa: N802
        name = message_from_bytes(envelope.content)["Message-ID"]
        with self.path.open("a") as file:
            file.write(f"{name} {envelope.rcpt_tos[0]}\n")
        await asyncio.sleep(self.answer_s)
        return "250 taken"


def serve(ledger: Path, answer_s: float, tell: int) -> None:
    """Run the mail server until killed; its port goes into the pipe `tell`."""
    loop = asyncio.new_event_loop()

    def one() -> SMTP:
        return SMTP(Ledger(ledger, answer_s), hostname="mail.x.example", loop=loop)

    server = loop.run_until_complete(loop.create_server(one, "127.0.0.1", 0))
    os.write(tell, f"{server.sockets[0].getsockname()[1]}\n".encode())
    loop.run_forever()


def in_child(work) -> int:
    """Run `work` in a process of its own; gives its id."""
    child = os.fork()
    if child == 0:
        try:
            work()
        except LostpolError:
            os._exit(5)
        finally:
            os._exit(0)
    return child


def send(mill) -> None:
    flush(mill, Patience(waits_s=(0.0,), answer_s=5.0, receipt_s=5.0))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--answer-s", type=float, default=0.01, help="the server's time to answer")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    draw = random.Random(options.seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        ledger = folder / "taken.txt"
        ledger.touch()
        hear, tell = os.pipe()
        server = in_child(lambda: serve(ledger, options.answer_s, tell))
        port = int(os.read(hear, 16))
        mill = load_mill(ROOT / "configs" / "demo_mill.toml")
        mail = {"host": "127.0.0.1", "port": port, "start_tls": False, "recipients": READERS}
        mill = replace(mill, store_path=folder / "store", mail=mill.mail.model_copy(update=mail))
        longest = _undisturbed(mill, folder)
        killed = 0
        for number in range(options.kills):
            report = folder / f"round-{number}" / "nightly.html"
            queue(mill, report, f"<p>{number}</p>")
            child = in_child(lambda: send(mill))
            time.sleep(draw.uniform(0.0, longest))
            os.kill(child, signal.SIGKILL)
            killed += os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == -signal.SIGKILL
        with suppress(LostpolError):  # unsure letters, counted below
            send(mill)
        os.kill(server, signal.SIGKILL)
        os.waitpid(server, 0)
        sys.exit(_show(mill, ledger, killed))


def _undisturbed(mill, folder: Path) -> float:
    """How long a round takes when nobody kills it [s]."""
    queue(mill, folder / "first" / "nightly.html", "<p>first</p>")
    begun = time.monotonic()
    os.waitpid(in_child(lambda: send(mill)), 0)
    return time.monotonic() - begun


def _show(mill, ledger: Path, killed: int) -> int:
    domain = mill.mail.sender.rpartition("@")[2]
    taken = Counter(ledger.read_text().splitlines())
    letters = outbox_of(mill).letters()
    counts = Counter()
    for letter in letters:
        times = taken[f"<{letter.name}@{domain}> {letter.recipient}"]
        counts[letter.state, min(times, 2)] += 1
    print(f"{killed} kills, {len(letters)} letters")
    print(f"  sent, taken once by the server:      {counts['sent', 1]}")
    print(f"  unsure, and taken by the server:     {counts['unsure', 1]}")
    print(f"  unsure, and not taken:               {counts['unsure', 0]}")
    rest = {key: n for key, n in counts.items() if key[1] == 2 or key == ("sent", 0)}
    left = {key: n for key, n in counts.items() if key[0] not in {"sent", "unsure"}}
    print(f"  taken twice, or sent and not taken:  {sum(rest.values())}")
    print(f"  in any other state:                  {sum(left.values())}")
    return 1 if rest or left else 0


if __name__ == "__main__":
    main()
