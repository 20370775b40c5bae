"""The page in Safari's engine: an order pressed by taps, the set-up begun, an order typed."""

from __future__ import annotations

import time

import pytest

from chalkbeam.simulator.set_up_light import SimulatedLight
from chalkbeam.web.doors import Right
from chalkbeam.web.security import COOKIE
from tests.support import webkit
from tests.support.crew_order import open_run
from tests.support.light import Light

pytestmark = [pytest.mark.slow, pytest.mark.proof]

SHOWN = "return document.body.innerText.includes(arguments[0])"


@pytest.fixture
def light():
    return SimulatedLight()


@pytest.fixture
def safari(served):
    """A browser with that engine, let in; skipped with a reason where there is none."""
    if webkit.lacking():
        pytest.skip(webkit.lacking())
    here = f"http://127.0.0.1:{served.settings.port}"
    with webkit.opened() as browser:
        browser.open(f"{here}/pair")
        browser.cookie(COOKIE, served.app.state.devices.add("safari", Right.SET_UP))
        browser.here = here
        yield browser


def test_an_order_is_pressed_by_taps(safari, served, tmp_path):
    lit = Light(open_run(tmp_path))
    served.app.state.press.attach(lit.work())
    safari.size(1024, 768)
    safari.open(f"{safari.here}/press")
    safari.tap("[data-name=on]")
    safari.until(SHOWN, "Transfer laid")
    safari.tap("[data-name=nudge]")
    safari.tap("[data-name=right]")
    safari.until(SHOWN, "1.0 mm right")
    safari.tap("[data-name=spoil]")
    safari.until(SHOWN, "scorched")
    safari.tap("[data-name=leave]")
    safari.until("return !document.body.innerText.includes(arguments[0])", "scorched")
    lit.key("page up")  # at the light's window: told by events
    safari.until(SHOWN, "Garment laid")
    progress = lit.station.session.progress
    while progress.stop is not None:
        safari.tap("[data-name=on]")
        time.sleep(0.25)  # sooner it would be a pedal's bounce
    safari.until(SHOWN, "The order is finished")
    assert progress.pressed() == 5
    lit.end()


def test_the_set_up_is_begun_and_an_order_is_typed(safari, served, workshop):
    safari.size(430, 900)
    safari.open(f"{safari.here}/setup")
    safari.tap("form[action='/setup/begin'] button")
    safari.tap("button[value='16x20in']")
    safari.tap("button[name=number][value='2']")
    safari.until("return document.querySelector('#outline')?.hidden === false")
    for name in ("number", "keystone", "covers"):
        safari.tap(f"input[name={name}]")
    safari.tap(".checks button.go")
    safari.tap("form[action='/setup/cards'] button.go")
    safari.until("return document.querySelectorAll('input[capture]').length == 1")
    assert served.app.state.setup.lit == "photos"

    safari.open(f"{safari.here}/orders/new")
    safari.type("input[name=title]", "Rowing")
    safari.tap("form button.go")
    safari.until("return !!document.querySelector('[name=c-0-0]')")
    cells = {0: "crew tee", 1: "M", 2: "navy", 3: "2", 4: "left chest", 6: "3 in", 8: "X"}
    for column, words in cells.items():
        safari.type(f"[name=c-0-{column}]", words)
    safari.tap("[name=save]")
    safari.until(SHOWN, "To be mended")  # it has no artwork yet
    assert (workshop.orders / "rowing" / "sheet.csv").read_text("utf-8-sig").count("crew tee") == 1
