"""A running page for tests, plain requests to it, and a browser that has been let in.

`served` is the server, `ask` sends it a request as a device that may do everything does,
`let_in` opens a chromium page let in with a right, `browser_page` one that may do everything.
"""

from __future__ import annotations

import http.client
import json
import urllib.parse

import pytest

from chalkbeam.web.doors import Right
from chalkbeam.web.security import COOKIE, token_of
from chalkbeam.web.server import PageServer
from chalkbeam.web.settings import WebSettings
from chalkbeam.web.setup.light import WindowLight
from chalkbeam.web.workshop import Workshop
from tests.support.browser import FLAGS, chromium, lacking
from tests.support.until import PATIENCE


@pytest.fixture
def workshop(tmp_path) -> Workshop:
    """A shop with nothing in it yet."""
    return Workshop(tmp_path / "data", tmp_path / "data" / "record.db", tmp_path / "data/orders")


@pytest.fixture
def more_doors() -> list:
    """Doors besides the usual ones; a test module overrides this."""
    return []


@pytest.fixture
def light():
    """What lights the platen while a press is set up; a test module overrides this."""
    return WindowLight()


@pytest.fixture
def served(workshop, more_doors, light):
    """The page, served at a free port while the test runs."""
    server = PageServer(workshop, WebSettings(port=0, light=lambda: light), more_doors)
    server.start()
    yield server
    server.stop()


class Asked:
    """An answer: its status, headers and text, JSON where it is that."""

    def __init__(self, answer: http.client.HTTPResponse) -> None:
        self.status, self.headers = answer.status, answer.headers
        self.body = answer.read()

    @property
    def text(self) -> str:
        return self.body.decode("utf-8", errors="replace")

    @property
    def json(self):
        return json.loads(self.text)


@pytest.fixture
def ask(served):
    """Send a request: `ask("/devices")`, `ask("/x", form={...})`, `ask("/x", sent={...})`.

    `right=None` asks as nobody; headers given replace the usual ones, None leaves one out.
    """
    secrets = {right: served.app.state.devices.add(right.value, right) for right in Right}

    def send(path, *, method=None, form=None, sent=None, body=None, right=Right.SET_UP, **headers):
        port = served.settings.port
        usual = {"host": f"127.0.0.1:{port}", "accept": "text/html"}
        changing = form is not None or sent is not None or body is not None
        if changing or method not in (None, "GET", "HEAD"):
            usual["origin"] = f"http://127.0.0.1:{port}"
        if right is not None:
            usual["cookie"] = f"{COOKIE}={secrets[right]}"
            if "origin" in usual:
                usual["x-token"] = token_of(secrets[right])
        if form is not None:
            usual["content-type"] = "application/x-www-form-urlencoded"
            body = urllib.parse.urlencode(form)
        if sent is not None:
            usual["content-type"] = "application/json"
            body = json.dumps(sent)
        usual |= {name.replace("_", "-"): value for name, value in headers.items()}
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        try:
            connection.request(
                method or ("POST" if changing else "GET"), path, body,
                {name: value for name, value in usual.items() if value is not None},
            )  # fmt: skip
            return Asked(connection.getresponse())
        finally:
            connection.close()

    return send


@pytest.fixture(scope="session")
def chromium_browser():
    """The browser, started once; skipped with a reason where there is none."""
    if lacking():
        pytest.skip(lacking())
    from playwright.sync_api import expect, sync_playwright

    expect.set_options(timeout=PATIENCE * 1000)  # a busy machine is no fault of the page
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium(), args=list(FLAGS))
        yield browser
        browser.close()


@pytest.fixture
def let_in(served, chromium_browser):
    """Open a page of a browser of its own, let in with a right (None: not let in).

    Whatever the browser then complains of fails the test.
    """
    contexts, wrong = [], []

    def open_page(right=Right.SET_UP, size=(1024, 768), scheme="light"):
        context = chromium_browser.new_context(
            base_url=f"http://127.0.0.1:{served.settings.port}",
            viewport={"width": size[0], "height": size[1]}, color_scheme=scheme,
        )  # fmt: skip
        contexts.append(context)
        context.set_default_timeout(PATIENCE * 1000)
        if right is not None:
            secret = served.app.state.devices.add(f"a browser that may {right.value}", right)
            address = f"http://127.0.0.1:{served.settings.port}"
            context.add_cookies([{"name": COOKIE, "value": secret, "url": address}])
        page = context.new_page()
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on(
            "console",
            lambda said: wrong.append(said.text) if "Content Security" in said.text else None,
        )
        return page

    yield open_page
    for context in contexts:
        context.close()
    assert not wrong


@pytest.fixture
def browser_page(let_in):
    """A browser page that may do everything."""
    return let_in()
