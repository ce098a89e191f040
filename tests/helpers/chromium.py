"""Pages in Chromium, where there is one: what they say, and what they ask for."""

import os
import shutil

import pytest

CHROMIUM = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("google-chrome")
#: Marks of a file of tests that open pages.
IN_CHROMIUM = [
    pytest.mark.browser,
    pytest.mark.skipif(CHROMIUM is None, reason="Chromium is absent"),
]


def opened(browser, path, width):
    """A page, what it said, and what it asked for besides what it holds itself."""
    page = browser.new_page(viewport={"width": width, "height": 800})
    said: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", lambda dialog: (said.append(dialog.message), dialog.dismiss()))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(path.as_uri())
    return page, said, [url for url in asked if not url.startswith("data:")]
