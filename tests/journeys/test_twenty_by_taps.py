"""Twenty pieces pressed by taps in a real browser, on the program's own processes.

A second browser watches, a third was never let in, and the page's server is killed on the way.
"""

from __future__ import annotations

import os
import re
import signal
import sys
from collections import Counter

import pytest

from chalkbeam.record.progress import Progress
from chalkbeam.record.store import Store
from tests.support.browser import FLAGS, chromium, lacking, names_on
from tests.support.crew_order import write_pennant
from tests.support.page_run import Run
from tests.support.until import PATIENCE, until

pytestmark = [
    pytest.mark.slow,
    pytest.mark.proof,
    pytest.mark.skipif(sys.platform != "linux", reason="looks for the server in /proc"),
]

SHEET = """Style,Size,Colour,Qty,Location,Artwork,Width,Heat,Time,Peel,Preheat,Cooling,Second press
crew tee,M,navy,8,left chest,pennant.png,90 mm,280 F,1 s,hot,,,
crew tee,L,navy,6,left chest,pennant.png,90 mm,305 F,1 s,hot,1 s,,1 s with cover
crew tee,S,black,6,left chest,pennant.png,90 mm,280 F,1 s,cold,,25 s,
"""
KILLED = 9
"""After so many pieces the page's server is killed."""

TAPPED = {
    "Garment laid": 14, "Laid: closing": 6, "Pre-pressed": 6, "Transfer laid": 20,
    "Pressed: next": 8, "Opened": 12, "Peeled: closing": 6, "Pressed again: next": 6,
    "Peeled: next": 6,
}  # fmt: skip
"""What the one button says on the way, as the three rows of the sheet ask for it."""


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


SHOWN = """() => ['.which', 'h1', '[data-name=on]'].map(
    each => document.querySelector(each)?.innerText).join()"""
"""What the page shows of the press: another text, another state."""


def tap_on(page):
    """Tap the button that goes on, once its time is over; return what it said, None at the end."""
    from playwright.sync_api import expect

    if page.get_by_role("heading", name="The order is finished").is_visible():
        return None
    if page.locator(".count").is_visible():  # waited for, as the supplier's sheet has it
        expect(page.locator(".count.over")).to_be_visible()
    shown = page.evaluate(SHOWN)
    answer = page.locator("[data-name=choose_1]")  # it is taken at once, unlike the step key
    button = answer if answer.is_visible() else page.locator("[data-name=on]")
    said = button.locator("span").inner_text()
    page.wait_for_timeout(200)  # sooner it would be a pedal's bounce
    button.click()
    until(lambda: page.evaluate(SHOWN) != shown)
    return said


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
        press.get_by_role("button", name="A code for another browser here").click()
        code = press.locator(".digits").inner_text()
        watcher.goto(home)
        watcher.get_by_label("Code").fill(code)
        watcher.get_by_label("Name of this device").fill("phone of the office")
        watcher.get_by_role("button", name="Let me in").click()
        watcher.get_by_role("link", name=re.compile("^At the press")).click()
        press.goto(f"{home}press")
        press.locator("[data-name=on]").wait_for()
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

        tapped_on, killed = Counter(), False
        while (said := tap_on(press)) is not None:
            tapped_on[said] += 1
            done = int(press.locator(".progress").inner_text().split()[0])
            expect(watcher.locator(".progress")).to_contain_text(f"{done} of 20 pressed")
            if done == KILLED and not killed:
                killed = True
                os.kill(run.server(), signal.SIGKILL)
                for page in (press, watcher):
                    expect(page.get_by_text("No connection to the press")).to_be_visible()
                for page in (press, watcher):  # by itself, and let in still
                    expect(page.get_by_text("No connection to the press")).to_be_hidden()
        assert killed
        assert tapped_on.pop("it is set") >= 3  # once a setting, at the least
        assert tapped_on == TAPPED

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
