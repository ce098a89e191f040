"""A mail server, a report and a mill for each test of mail."""

from dataclasses import replace

import pytest
from mail_server import BRINDLEWATER, Inbox, serving

from pipeline.mail.smtp import PASSWORD_VARIABLE, USER_VARIABLE


@pytest.fixture
def inbox():
    return Inbox()


@pytest.fixture
def port(inbox):
    with serving(inbox) as number:
        yield number


@pytest.fixture(autouse=True)
def no_account(monkeypatch):
    monkeypatch.delenv(USER_VARIABLE, raising=False)
    monkeypatch.delenv(PASSWORD_VARIABLE, raising=False)


@pytest.fixture
def report(tmp_path):
    path = tmp_path / "2025-11-30" / "nightly.html"
    path.parent.mkdir()
    path.write_text("<p>2.8 t lost</p>\n.\n<p>" + "x" * 3000 + "é</p>", encoding="utf-8")
    return path


@pytest.fixture
def mill(tmp_path):
    return replace(BRINDLEWATER, store_path=tmp_path / "store")
