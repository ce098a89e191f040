"""Desks for tests: an application without a port, and one that runs on a port of its own."""

import threading
import time
import warnings
from contextlib import contextmanager

import uvicorn

from pipeline.cli.app import app
from pipeline.desk.desk import desk_of
from pipeline.desk.routes import app_of
from pipeline.desk.server import _held
from pipeline.handbook.commands import commands_of

with warnings.catch_warnings():
    # It would rather have a client library of another name; the one it still takes is here.
    warnings.simplefilter("ignore")
    from starlette.testclient import TestClient

ADDRESS = "http://127.0.0.1:8000"


def desk_for(mills, **how):
    return desk_of(mills, commands=lambda: commands_of(app), **how)


def client_of(desk, **how):
    """A client as a browser of this machine would be."""
    return TestClient(app_of(desk, **how), base_url=ADDRESS, follow_redirects=False)


def verdict_form(desk, key, which, verdict, **more):
    """What the page of a finding would send now."""
    from pipeline.desk.decide import last_verdict_id

    known = desk.of(key).now().verdicts.to_dicts()
    form = {"token": desk.token, "seen": str(last_verdict_id(known, which)), "verdict": verdict}
    return form | more


@contextmanager
def running(desk):
    """Address of a desk that answers on a port of its own."""
    held = _held(0)
    config = uvicorn.Config(app_of(desk), log_config=None, lifespan="off", ws="none")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [held]}, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{held.getsockname()[1]}"
    finally:
        server.should_exit = True
        thread.join(timeout=20)
        held.close()
