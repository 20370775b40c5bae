"""The page at the press: what it shows, what its taps do, and who is told."""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ET
from multiprocessing import Pipe

import pytest

from calibration.refusal import Refusal
from chalkbeam.record.events import Step
from chalkbeam.station.keys import Act, action_for
from chalkbeam.station.modes import ORDER
from chalkbeam.web.doors import Right
from chalkbeam.web.press.buttons import BUTTONS, caps, keys_of
from chalkbeam.web.press.link import PressLink
from chalkbeam.web.press.picture import picture_of
from chalkbeam.web.press.values import values_of
from tests.support.browser import SIZES, serious
from tests.support.crew_order import open_run
from tests.support.ends_at_once import ends_at_once
from tests.support.light import Light
from tests.support.press import Press
from tests.support.until import until


@pytest.fixture
def lit(tmp_path):
    """The light's end, with an order; nobody sees it yet."""
    lit = Light(open_run(tmp_path))
    yield lit
    lit.end()


@pytest.fixture
def at_press(served, lit):
    link = served.app.state.press
    link.attach(lit.work())
    until(lambda: link.state()["ready"])  # it comes by another thread
    return lit


def progress(light):
    return light.station.session.progress


def wait_for_taps(light, count):
    until(lambda: len(light.taken) >= count)


# -- buttons ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", BUTTONS)
def test_a_buttons_key_asks_for_what_the_button_says(name):
    assert action_for(BUTTONS[name].key).act is BUTTONS[name].act


def test_every_step_that_has_a_key_has_a_button():
    there = {button.act for button in BUTTONS.values()} | {Act.JUMP}
    assert {act for act, _ in ORDER.acts} - there == set()


@pytest.mark.parametrize(
    "sent",
    [{}, {"button": "format"}, {"button": 7}, {"button": "piece"}, {"button": ["on"]},
     {"button": "piece", "text": "\n"}, {"button": "piece", "text": 3}],
)  # fmt: skip
def test_anything_else_is_no_tap(sent):
    assert keys_of(sent) is None


def test_keys_are_shown_on_the_buttons():
    assert caps()["on"] == "Space"
    assert caps()["piece"] == "J"
    assert "left" not in caps()


# -- what is shown ---------------------------------------------------------------------------


def test_the_picture_shows_garment_art_and_the_lines_of_the_step(tmp_path):
    press = Press(open_run(tmp_path))
    load = press.display()
    lay = press.keys("space").display()
    pictures = [ET.fromstring(picture_of(each, "/press/art/x.png")) for each in (load, lay)]
    for drawn in pictures:
        kinds = [each.get("class", "") for each in drawn.iter("path")]
        assert any("cloth" in kind for kind in kinds)
        assert any("lay" in kind for kind in kinds)
        (image,) = drawn.iter("image")
        assert float(image.get("width")) == pytest.approx(90.0)  # mm, as the order asks
    drawn = ["".join(each.get("class", "") for each in p.iter("path")) for p in pictures]
    assert "line load" in drawn[0]
    assert "line load" not in drawn[1]


def test_the_picture_holds_no_word_of_the_order(tmp_path):
    display = Press(open_run(tmp_path)).display()
    drawn = picture_of(display, "")
    assert ET.fromstring(drawn).find(".//text") is None
    assert "pennant" not in drawn
    assert "style=" not in drawn  # the page's policy would drop it


def test_values_are_plain_json(tmp_path):
    press = Press(open_run(tmp_path))
    press.keys("space", "space")
    display = press.display()
    values = values_of(display, "a.1", display.dwell_ends - 4.0, "")
    assert json.loads(json.dumps(values)) == values
    assert (values["step"], values["left"], values["steps"]) == (
        "press", 4.0, ["load", "lay", "press"],
    )  # fmt: skip


# -- taps over the network -------------------------------------------------------------------


def tap(ask, button, seen, id_="0123456789ab", right=Right.PRESS, **more):
    return ask("/press/tap", sent={"id": id_, "button": button, "seen": seen, **more}, right=right)


def test_a_tap_steps_the_press_once(ask, at_press):
    seen = ask("/press/state").json["number"]
    assert tap(ask, "on", seen).status == 200
    assert tap(ask, "on", seen).status == 200  # the network brought it twice
    assert progress(at_press).at.step is Step.LAY
    late = tap(ask, "on", seen, "another-one")
    assert late.status == 409
    assert "Nothing was done" in late.json["said"]
    assert progress(at_press).at.step is Step.LAY
    assert ask("/press/state").json["step"] == "lay"


def test_who_may_look_on_taps_nothing(ask, at_press):
    seen = ask("/press/state", right=Right.SEE).json["number"]
    assert tap(ask, "on", seen, right=Right.SEE).status == 403
    assert progress(at_press).at.step is Step.LOAD


@pytest.mark.parametrize("wrong", [{"id": "x"}, {"id": 5}, {"seen": 1}, {"button": "dance"}])
def test_what_is_no_tap_is_refused(ask, at_press, wrong):
    sent = {"id": "0123456789ab", "button": "on", "seen": "x"} | wrong
    assert ask("/press/tap", sent=sent).status == 400


def test_without_a_press_a_tap_is_told_so(ask):
    assert ask("/press/state").json["running"] is False
    assert tap(ask, "on", "").status == 503


def test_the_artwork_is_served_as_a_picture(ask, at_press):
    drawn = ET.fromstring(ask("/press/state").json["picture"])
    (image,) = drawn.iter("image")
    answer = ask(image.get("href"))
    assert answer.body.startswith(b"\x89PNG")
    assert ask("/press/art/none.png").status == 404


def test_when_the_run_ends_the_page_says_so(served, ask, lit):
    served.app.state.press.attach(lit.work())
    lit.end()
    until(lambda: ask("/press/state").json["running"] is False)
    assert ask("/press/state").json["failed"] == ""  # it has taken its leave


def begin_nothing(connection, sheet, choice, over):
    connection.send(("failed", f"{sheet.name} is no order"))


def test_where_the_light_breaks_off_the_page_says_so(served, ask):
    ours, theirs = Pipe()
    served.app.state.press.attach(theirs)
    ours.close()  # as of a program that was killed
    until(lambda: ask("/press/state").json["running"] is False)
    assert "go on from the order" in ask("/press/state").json["failed"]


@pytest.mark.slow
def test_an_order_is_begun_in_a_process_of_its_own(served, ask, tmp_path):
    link = served.app.state.press
    with pytest.raises(Refusal, match="this page has none"):
        link.start(tmp_path / "crew.csv")
    link._start = begin_nothing
    assert link.can_start
    link.start(tmp_path / "crew.csv")
    until(lambda: not link.running)
    state = ask("/press/state").json
    assert (state["running"], state["failed"]) == (False, "crew.csv is no order")


# -- in the browser --------------------------------------------------------------------------


@pytest.mark.slow
def test_an_order_is_pressed_by_taps_while_another_browser_watches(let_in, at_press):
    from playwright.sync_api import expect

    press, watcher = let_in(Right.PRESS), let_in(Right.SEE, size=SIZES["phone"])
    for page in (press, watcher):
        page.goto("/press")
        page.locator(".head").wait_for()
    expect(watcher.get_by_role("button")).to_have_count(0)
    on = press.locator("[data-name=on]")
    done = 0
    while progress(at_press).stop is not None:
        expect(press.locator(".which")).to_contain_text(at_press.display().heading)
        expect(press.locator(".steps .now")).to_have_text(progress(at_press).at.step.value)
        on.click()
        press.wait_for_timeout(170)  # a pedal's bounce is shorter
        done += 1
        wait_for_taps(at_press, done)
        expect(press.locator(".said")).to_contain_text(at_press.display().remark)  # the dwell
    assert {taken for _, taken in at_press.taken} == {"done"}
    assert progress(at_press).pressed() == 5
    assert done <= 20
    expect(watcher.get_by_role("heading", name="The order is finished")).to_be_visible()
    expect(watcher.get_by_text("5 of 5 pressed")).to_be_visible()


@pytest.mark.slow
def test_size_label_and_colour_are_confirmed_by_a_tap(served, let_in, tmp_path):
    from playwright.sync_api import expect

    lit = Light(open_run(tmp_path, confirms=True))
    served.app.state.press.attach(lit.work())
    page = let_in(Right.PRESS, size=SIZES["phone"])
    page.goto("/press")
    page.get_by_role("button", name="Garment laid").click()
    asked = page.get_by_role("region", name=re.compile("navy"))
    expect(asked).to_contain_text("M")
    expect(asked.get_by_role("button")).to_have_count(3)
    assert serious(page) == []
    asked.get_by_role("button", name="no: take another one").click()
    expect(page.locator(".steps .now")).to_have_text("load")
    page.get_by_role("button", name="Garment laid").click()
    page.get_by_role("button", name="size label and colour are right").click()
    expect(page.locator(".steps .now")).to_have_text("lay")
    assert not progress(lit).to_confirm(progress(lit).at)
    lit.end()


@pytest.mark.slow
def test_spoiling_moving_and_the_window_s_own_keys(let_in, at_press):
    from playwright.sync_api import expect

    page = let_in(Right.PRESS)
    page.goto("/press")
    page.locator("[data-name=on]").click()
    expect(page.locator(".steps .now")).to_have_text("lay")
    page.get_by_role("button", name="Move lines").click()
    for _ in range(3):
        page.get_by_role("button", name="to the right", exact=True).click()
    page.get_by_label("Fine steps").check()
    page.get_by_role("button", name="away from you").click()
    expect(page.locator(".pad")).to_contain_text("3.0 mm right, 0.1 mm away")
    at_press.key("page up")  # at the light window
    expect(page.locator(".steps .now")).to_have_text("load")
    page.wait_for_timeout(200)  # sooner it would be a pedal's bounce
    page.keyboard.press("Space")  # at the page
    expect(page.locator(".steps .now")).to_have_text("lay")
    page.get_by_role("button", name="Spoiled").click()
    page.get_by_role("button", name="scorched").click()
    page.get_by_role("button", name="a fresh garment takes its place").click()
    expect(page.locator(".progress")).to_contain_text("1 spoiled")
    page.get_by_role("button", name="Undo").click()
    expect(page.locator(".progress")).not_to_contain_text("spoiled")
    page.get_by_role("button", name="More").click()
    page.get_by_role("button", name="Go to piece").click()
    page.get_by_label("Piece number or code").fill("3")
    page.keyboard.press("Enter")
    expect(page.locator(".which")).to_contain_text("piece 4-1")


def test_a_scanner_at_the_page_goes_to_its_piece(let_in, at_press):
    from playwright.sync_api import expect

    page = let_in(Right.PRESS)
    page.goto("/press")
    page.locator(".head").wait_for()
    page.evaluate(
        """keys => keys.forEach(key => document.body.dispatchEvent(
            new KeyboardEvent("keydown", {key, bubbles: true, cancelable: true})))""",
        ["4", "-", "1", "Enter"],
    )  # all at once, as a scanner types them
    expect(page.locator(".which")).to_contain_text("piece 4-1")
    assert [name for name, _ in at_press.taken] == ["j"]


@pytest.mark.slow
@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing_serious_at_the_press(let_in, at_press, size):
    page = let_in(Right.PRESS, size=SIZES[size], scheme="dark" if size == "phone" else "light")
    page.goto("/press")
    page.locator(".head").wait_for()
    assert serious(page) == []
    for button in page.locator(".buttons button").all():
        box = button.bounding_box()
        assert box["height"] >= (54 if size.startswith("phone") else 56.6), button  # 15 mm
    wide = page.evaluate("document.documentElement.scrollWidth")
    assert wide <= SIZES[size][0]


def test_the_projector_is_free_before_an_order_is_begun(tmp_path):
    told = []
    link = PressLink(ends_at_once, lambda: told.append(link.running))
    link.start(tmp_path / "sheet.csv")
    until(lambda: not link.running)
    assert told == [False]
