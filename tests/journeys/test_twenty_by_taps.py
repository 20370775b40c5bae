"""Twenty pieces pressed by taps in a real browser, on the program's own processes.

A second browser watches, a third was never let in, and the page's server is killed on the way.
"""

from __future__ import annotations

import os
import re
import signal
import sys

import pytest

from chalkbeam.record.progress import Progress
from chalkbeam.record.store import Store
from tests.support.browser import FLAGS, chromium, lacking, names_on
from tests.support.crew_order import write_pennant
from tests.support.page_run import Run
from tests.support.until import PATIENCE

pytestmark = [
    pytest.mark.slow,
    pytest.mark.proof,
    pytest.mark.skipif(sys.platform != "linux", reason="looks for the server in /proc"),
]

SHEET = """Style,Size,Colour,Qty,Location,Artwork,Width,Time (s)
crew tee,M,navy,8,left chest,pennant.png,90 mm,1
crew tee,L,navy,8,left chest,pennant.png,90 mm,1
crew tee,S,black,4,left chest,pennant.png,90 mm,1
"""
KILLED = 9
"""After so many pieces the page's server is killed."""

ON = ("Garment laid", "Transfer laid", "Pressed: next")


@pytest.fixture
def browsers():
    """Open browsers that know nothing of each other, with what each complains of."""
    if lacking():
        pytest.skip(lacking())
    from playwright.sync_api import sync_playwright

    wrong: list[str] = []
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=chromium(), args=list(FLAGS))

        def opened(width, height):
            context = browser.new_context(viewport={"width": width, "height": height})
            context.set_default_timeout(PATIENCE * 1000)
            page = context.new_page()
            page.on("pageerror", lambda error: wrong.append(str(error)))
            return page

        yield opened
        browser.close()
    assert wrong == []


def test_twenty_pieces_are_pressed_by_taps_while_others_watch(tmp_path, browsers):
    from playwright.sync_api import expect

    expect.set_options(timeout=PATIENCE * 1000)
    write_pennant(tmp_path / "pennant.png")
    (tmp_path / "crew.csv").write_text(SHEET)
    record = tmp_path / "record.db"
    run = Run(tmp_path, "--page", "--no-browser", "--port", "0", "--record", str(record),
              sheet=tmp_path / "crew.csv")  # fmt: skip
    try:
        address = run.opened()
        press, watcher, stranger = browsers(1024, 768), browsers(390, 844), browsers(768, 1024)
        home = address.partition("pair#")[0]

        # Let in: the press by the address that the run prints, the watcher by a code typed.
        press.goto(address)
        press.get_by_role("link", name=re.compile("^Devices")).click()
        press.get_by_label("Look on").check()
        press.get_by_role("button", name="Show a code", exact=True).click()
        code = press.locator(".digits").inner_text()
        watcher.goto(home)
        watcher.get_by_label("Code").fill(code)
        watcher.get_by_label("Name of this device").fill("phone of the office")
        watcher.get_by_role("button", name="Let me in").click()
        watcher.get_by_role("link", name=re.compile("^At the press")).click()
        press.goto(f"{home}press")
        press.get_by_role("button", name="Garment laid").wait_for()
        assert names_on(watcher, "button") == []

        # The same code a second time, and every door without it: nothing but the pairing page.
        stranger.goto(home)
        stranger.get_by_label("Code").fill(code)
        stranger.get_by_role("button", name="Let me in").click()
        expect(stranger.get_by_role("alert")).to_contain_text("not, or no longer, good")
        for path in ("", "press", "press/state", "press/events", "orders", "devices", "setup"):
            assert stranger.goto(home + path).status == 401
            expect(stranger.get_by_label("Code")).to_be_visible()
            assert "navy" not in stranger.content()
        tapped = stranger.request.post(
            f"{home}press/tap", data={"id": "0123456789ab", "button": "on", "seen": ""},
            headers={"origin": home.rstrip("/")},
        )  # fmt: skip
        assert tapped.status == 401

        for done in range(20):
            expect(watcher.locator(".progress")).to_contain_text(f"{done} of 20 pressed")
            for name in ON:
                button = press.get_by_role("button", name=name, exact=True)
                if name == ON[-1]:  # the dwell is waited for, as the supplier's sheet has it
                    press.get_by_text("Open the press").wait_for()
                press.wait_for_timeout(200)  # sooner it would be a pedal's bounce
                button.click()
            if done + 1 == KILLED:
                expect(watcher.locator(".progress")).to_contain_text(f"{KILLED} of 20 pressed")
                os.kill(run.server(), signal.SIGKILL)
                for page in (press, watcher):
                    expect(page.get_by_text("No connection to the press")).to_be_visible()
                for page in (press, watcher):  # by itself, and let in still
                    expect(page.get_by_text("No connection to the press")).to_be_hidden()

        for page in (press, watcher):
            expect(page.get_by_role("heading", name="The order is finished")).to_be_visible()
            expect(page.locator(".progress")).to_contain_text("20 of 20 pressed")
        press.get_by_role("button", name="End the order").click()
        assert run.process.wait(timeout=PATIENCE) == 0
        with Store(record) as store:
            kept = store.latest()
            assert Progress(kept.stops, store.events(kept)).pressed() == 20
    finally:
        run.end()
