"""The guided set-up on the simulated press: a real browser, real photo files, a killed server."""

from __future__ import annotations

import io
import re
import time
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pillow_heif
import pytest
from PIL import Image

from calibration.model.uncertainty import worst
from calibration.refusal import Refusal
from calibration.rig import library
from calibration.rig.by_hand import suggested_points
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.simulator.rig.stage import sample_rig
from chalkbeam.simulator.set_up_light import _STANDS, SimulatedLight
from chalkbeam.web import settings
from chalkbeam.web.doors import Right
from chalkbeam.web.server import PageServer
from chalkbeam.web.settings import WebSettings
from chalkbeam.web.setup import crosses, trial
from chalkbeam.web.setup.guide import Guide, GuideFile, SetupStep
from chalkbeam.web.setup.light import WindowLight
from tests.support.browser import serious
from tests.support.rigs import demo_rig

SAMPLES = Path(__file__).parents[3] / "sample_images"
MOST_TAPS, MOST_TYPED = 25, 20
pillow_heif.register_heif_opener()


def smaller(name: str, crop: float = 0.0, kind: str = "JPEG") -> bytes:
    """Return a sample photo at 0.4 of its size, less a share of its left."""
    with Image.open(SAMPLES / name) as opened:
        exif = opened.getexif()
        opened.draft("RGB", (opened.width // 2, opened.height // 2))
        whole = opened.resize((1612, 1209))
    file = io.BytesIO()
    whole.crop((round(crop * whole.width), 0, *whole.size)).save(file, kind, quality=92, exif=exif)
    return file.getvalue()


@pytest.fixture
def light():
    return SimulatedLight()


class Thumb:
    """Somebody who taps and types, and counts it."""

    def __init__(self, page):
        self.page, self.taps, self.typed = page, 0, 0

    def tap(self, locator):
        self.taps += 1
        locator.click()

    def press(self, name):
        self.tap(self.page.get_by_role("button", name=name, exact=True))

    def send(self, *photos):
        """Choose files; each costs a tap on the button, one to take it and one to use it."""
        for name, content in photos:
            self.taps += 3
            kind = "image/heic" if name.endswith(".heic") else "image/jpeg"
            chosen = {"name": name, "mimeType": kind, "buffer": content}
            with self.page.expect_navigation(url="**/setup/photos"):
                self.page.locator("input[capture]").set_input_files([chosen])


def without_looks(page):
    """Leave out the pictures of the simulated press, which take a second each to draw."""
    page.route("**/look.jpg*", lambda route: route.abort())


def until_judged(page):
    page.locator("#live:not([data-busy])").wait_for()


@pytest.mark.slow
def test_the_whole_set_up_by_taps_with_photos_sent(let_in, served, workshop, light):
    from playwright.sync_api import expect

    page = let_in(size=(390, 844))
    without_looks(page)
    thumb = Thumb(page)
    page.goto("/")
    thumb.tap(page.get_by_role("link", name="Set the press up"))
    thumb.press("Begin")
    thumb.tap(page.get_by_role("button", name="16 × 20 in"))
    thumb.tap(page.locator("button[name=number][value='2']"))
    for name in ("number", "keystone", "covers"):
        thumb.tap(page.locator(f"input[type=checkbox][name={name}]"))
    thumb.press("Next")
    thumb.press("The cards are laid")
    expect(page.locator(".lamp").get_by_text("The light is on.")).to_be_visible()

    # A photo whose left is cut off: said, and taken away (those taps are a mishap's, not counted).
    wrong = Thumb(page)
    wrong.send(("IMG_0001.jpg", smaller("flat-1.jpg", crop=0.3)))
    until_judged(page)
    refused = page.locator(".photos .bad")
    expect(refused).to_contain_text(re.compile(r"card is cut off|cards are cut off"))
    wrong.press("Take away: photo-1.jpg")
    expect(refused).to_have_count(0)

    thumb.send(
        ("flat-1.jpg", smaller("flat-1.jpg")),
        ("IMG_0002.heic", smaller("flat-2.jpg", kind="HEIF")),  # as iPhones take them
        ("flat-3.jpg", smaller("flat-3.jpg")),
    )
    until_judged(page)
    expect(page.locator(".photos .good")).to_have_count(3)
    expect(page.locator(".photos").get_by_text("photo-3.heic")).to_have_count(1)
    expect(page.locator("#live")).to_contain_text("That is enough")
    thumb.press("Work it out")
    page.wait_for_url("**/setup/verdict", timeout=300_000)
    assert page.locator(".say").inner_text().startswith("Ready up to ")
    within = page.get_by_text(re.compile(r"Light lands within")).inner_text()
    bound = float(re.search(r"within ([\d.]+) mm", within)[1])
    assert page.locator("img.map").evaluate("map => map.decode().then(() => map.naturalWidth)")
    thumb.press("Squares and a ruler")
    assert "A square is 4 in wide and deep" in page.locator("form.checks").inner_text()
    for name in ("edges", "squares"):
        thumb.tap(page.locator(f"input[type=checkbox][name={name}]"))
    thumb.press("Next")
    page.wait_for_url("**/setup/done")
    expect(page.locator(".say")).to_contain_text("“simulated press” is set up")

    # The truth is the ray-cast stand-in's, which the solver never sees.
    rig, truth = library.open_rig(None), sample_rig()
    places = np.array([(x, y) for x in (-190.0, 0.0, 190.0) for y in (-240.0, 0.0, 240.0)])
    landed = truth.platen_from_projector(rig.projector.projector_from_platen(places, 4.0), 4.0)
    assert np.hypot(*(landed - places).T).max() < bound
    assert bound < 1.0
    assert thumb.taps <= MOST_TAPS
    assert thumb.typed <= MOST_TYPED


def reach(ask, step: SetupStep) -> None:
    """Go on to a step by plain requests."""
    ask("/setup/begin", form={})
    if step.number > SetupStep.PLATEN.number:
        ask("/setup/platen", form={"platen": "16x20in"})
    if step.number > SetupStep.PROJECTOR.number:
        ask("/setup/display", form={"number": "2"})
        ask("/setup/projector", form={"number": "1", "keystone": "1", "covers": "1"})
    if step.number > SetupStep.CARDS.number:
        ask("/setup/cards", form={"bar": "exact"})


def test_a_server_that_was_killed_goes_on_where_it_was(ask, served, workshop):
    reach(ask, SetupStep.CARDS)
    again = PageServer(workshop, WebSettings(port=0, light=SimulatedLight))
    again.start()
    guide = again.app.state.setup.guide()
    again.stop()
    assert (guide.step, guide.platen, guide.display) == (SetupStep.CARDS, "16x20in", 2)


def test_no_step_is_opened_before_those_that_come_first(ask):
    reach(ask, SetupStep.PROJECTOR)
    for step in SetupStep:
        answer = ask(f"/setup/{step.value}")
        if step in (SetupStep.PLATEN, SetupStep.PROJECTOR):
            assert answer.status == 200
        else:
            assert (answer.status, answer.headers["location"]) == (303, "/setup/projector")
    ask("/setup/solve", form={})
    ask("/setup/ruler", form={"edges": "1", "squares": "1"})
    assert ask("/setup/done").status == 303


@pytest.mark.parametrize(
    ("typed", "size"),
    [
        # The international inch is 25.4 mm, exact since 1959.
        ({"width": "16", "depth": "20", "unit": "in"}, (406.4, 508.0)),
        ({"width": "15 1/2", "depth": "15.5", "unit": "in"}, (393.7, 393.7)),
        ({"width": "380", "depth": "380", "unit": "mm"}, (380.0, 380.0)),
    ],
)
def test_a_platen_is_measured_in_either_unit(ask, served, typed, size):
    ask("/setup/begin", form={})
    assert ask("/setup/platen", form=typed).status == 303
    assert served.app.state.setup.guide().platen_mm == pytest.approx(size)


@pytest.mark.parametrize(
    ("path", "sent", "said"),
    [
        ("platen", {"width": "16", "depth": "20", "unit": "mm"}, "no platen"),
        ("platen", {"width": "wide", "depth": "20", "unit": "in"}, "not a length"),
        ("projector", {"number": "1", "covers": "1"}, "All three"),
        ("projector", {"number": "1", "keystone": "1", "covers": "1", "name": "a/b"}, "name a rig"),
        ("cards", {"bar": "other", "length": "94 cm"}, "print the cards again"),
        ("cards", {"bar": "other"}, "not a length"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_and_nothing_goes_on(ask, served, path, sent, said):
    reach(ask, SetupStep(path))
    if path == "projector":
        ask("/setup/display", form={"number": "2"})
    before = served.app.state.setup.guide()
    answer = ask(f"/setup/{path}", form=sent)
    assert answer.status == 400
    assert said in answer.text
    assert served.app.state.setup.guide() == before


def test_the_light_falls_on_the_display_that_was_chosen_alone(ask, light):
    reach(ask, SetupStep.PROJECTOR)
    ask("/setup/display", form={"number": "1"})
    assert "choose the projector" in ask("/setup/projector").text
    ask("/setup/display", form={"number": "2"})
    assert "The light is on." in ask("/setup/projector").text
    ask("/setup/light", form={"step": "projector"})
    assert "The light is off." in ask("/setup/projector").text
    assert ask("/setup/display", form={"number": "7"}).status == 400


def upload(ask, *files: bytes):
    body = b""
    for content in files:
        body += b'--x\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\n'
        body += b"Content-Type: image/jpeg\r\n\r\n" + content + b"\r\n"
    return ask(
        "/setup/photos", body=body + b"--x--\r\n", content_type="multipart/form-data; boundary=x"
    )


def test_what_is_no_photo_or_came_before_is_refused(ask, served):
    reach(ask, SetupStep.PHOTOS)
    assert "no photo" in upload(ask, b"MZ not a photo at all").text
    assert served.app.state.setup.guide().photos == ()
    broken = smaller("flat-1.jpg")[:3000]
    assert upload(ask, broken).status == 303
    assert "same photo" in upload(ask, broken).text
    assert len(served.app.state.setup.guide().photos) == 1


def test_a_phone_is_let_in_from_the_photos_to_take_them(ask, served, monkeypatch):
    reach(ask, SetupStep.PHOTOS)
    monkeypatch.setattr(settings, "on_network", lambda: "127.0.0.2")
    assert "Open it, and show a code for the phone" in ask("/setup/photos").text
    answer = ask("/setup/photos/phone", form={}).text
    code = re.search(r'class="digits">(\d{3}) (\d{3})<', answer)
    assert "<svg" in answer
    assert "Show a code for the phone" in ask("/setup/photos").text  # it is open now
    assert served.app.state.codes.take("".join(code.groups()), "phone")[0] is Right.SET_UP


def test_a_guide_that_cannot_be_read_begins_anew(tmp_path):
    file = GuideFile(tmp_path)
    kept = file.change(
        lambda guide: guide.at(SetupStep.CARDS, platen="16x20in", platen_mm=(406.4, 508))
    )
    assert file.load() == kept
    (tmp_path / "guide.json").write_text('{"version": 99}')
    assert file.load() == Guide()
    (tmp_path / "guide.json").write_text("{")
    assert file.load() == Guide()


def test_who_may_only_press_does_not_set_up(ask):
    assert ask("/setup", right=Right.PRESS).status == 403
    assert ask("/setup/begin", form={}, right=Right.PRESS).status == 403


@pytest.mark.proof
@pytest.mark.slow
def test_crosses_by_hand_make_a_rig_and_those_that_are_set_stay(ask, served, light):
    reach(ask, SetupStep.CARDS)
    desk = served.app.state.setup
    assert ask("/setup/by_hand", form={"begin": "1", "throw": "14"}).status == 400
    truth = light.press(desk.guide().face)
    throw = truth.projector.view.focal / truth.projector.view.size[0]
    ask("/setup/by_hand", form={"begin": "1", "throw": f"{throw:.2f}"})
    marks = suggested_points(truth.face, 9)
    for number, mark in enumerate(marks):
        if number == 5:  # as if the server had been killed
            desk.crosses.clear()
        assert f"Cross {number + 1} of 9" in ask("/setup/by_hand").text
        (on_mark,) = truth.projector_from_platen([mark.point])
        state = crosses.state_of(desk, desk.guide(), SetupStep.BY_HAND)
        # To the nearest quarter of a pixel, the finest step of the arrows.
        at = tuple(np.round(on_mark * 4) / 4)
        desk.crosses[SetupStep.BY_HAND] = replace(state, at=at)
        answer = ask("/setup/by_hand", form={"key": "set"})
    assert answer.headers["location"] == "/setup/verdict"
    rig = library.open_rig(desk.guide().rig)
    assert len(rig.crosses) == 9
    fit = rig.fit
    found = worst(rig.projector, fit.matrix, fit.freedom, rig.face, rig.stated.heights)
    places = np.array([mark.point for mark in marks])
    landed = truth.platen_from_projector(rig.projector.projector_from_platen(places, 4.0), 4.0)
    assert np.hypot(*(landed - places).T).max() < max(each.bound for each in found) < 1.0

    # A touch-up: left where they start, crosses confirm the rig, which is kept anew.
    ask("/setup/verdict", form={"crosses": "1"})
    for _ in range(3):
        answer = ask("/setup/crosses", form={"key": "set"})
    assert answer.headers["location"] == "/setup/ruler"
    assert len(library.open_rig(rig.name).crosses) == 12


@pytest.mark.slow
def test_an_arrow_moves_the_cross_without_the_page_being_drawn_anew(let_in, ask, light):
    from playwright.sync_api import expect

    reach(ask, SetupStep.CARDS)
    ask("/setup/by_hand", form={"begin": "1"})
    page = let_in(size=(768, 1024))
    without_looks(page)
    page.goto("/setup/by_hand")
    stood = light.frame
    for name in ("Away from me", "Towards me"):
        with page.expect_response(lambda answer: answer.url.endswith("/by_hand?far=-far")):
            page.get_by_role("button", name=name).click()
        assert np.array_equal(light.frame, stood) == (name == "Towards me")
        expect(page.get_by_role("button", name=name)).to_be_focused()
    assert serious(page) == []


def test_the_first_shirt_is_an_order_that_can_be_read(tmp_path):
    order = read_sheet(trial.written(tmp_path / "First shirt.csv"))
    assert [imprint.width for piece in order.pieces for imprint in piece.imprints] == [80.0]
    assert order.notes == ()


@pytest.mark.slow
def test_light_by_a_projector_is_a_window_of_another_process():
    light = WindowLight()
    (only,) = light.displays()  # of the dummy driver
    grey = np.full((only.size[1], only.size[0], 3), 90, np.uint8)
    try:
        with pytest.raises(Refusal, match="There is no display 9"):
            light.show(grey, 9)
        light.show(grey, only.number)
        light.show(grey // 2, only.number)
        assert light.trouble() == ""
        with pytest.raises(Refusal, match="shows"):
            light.show(grey[:100], only.number)
    finally:
        light.dark()


def test_the_code_stands_on_the_platen_in_place_of_the_light_until_a_device_is_let_in(
    ask, served, light
):
    reach(ask, SetupStep.PROJECTOR)
    served.app.state.settings = replace(served.app.state.settings, shared=True)
    ask("/devices")
    assert "Show the code on the platen" not in ask("/devices").text  # no light, no rig
    ask("/setup/display", form={"number": "2"})
    stood = light.frame
    answer = ask("/devices/code", form={"right": "press", "platen": "1"}).text
    code = "".join(re.search(r'class="digits">(\d{3}) (\d{3})<', answer).groups())
    assert "It is on the platen in light" in answer
    lit = light.frame
    assert (
        f"{served.settings.address}pair#code={code}"
        == (cv2.QRCodeDetector().detectAndDecode(lit)[0])
    )
    assert ask("/pair", form={"code": code, "name": "phone"}, right=None).status == 303
    assert light.frame is stood  # gone as soon as it has done its work
    ask("/devices/code", form={"right": "see", "platen": "1"})
    assert light.frame is not stood
    served.app.state.code_on_platen.end()  # as its timer does
    assert light.frame is stood
    assert served.app.state.setup.lit == "projector"


@pytest.mark.slow
def test_the_outline_is_dragged_on_to_the_platen_and_moves_in_light_at_once(
    let_in, ask, served, light
):
    from playwright.sync_api import expect

    reach(ask, SetupStep.PROJECTOR)
    ask("/setup/display", form={"number": "2"})
    page = let_in(size=(390, 844))
    without_looks(page)
    page.goto("/setup/projector")
    drawn = page.locator(".drag")
    drawn.scroll_into_view_if_needed()
    box = drawn.bounding_box()
    face = served.app.state.setup.guide().face
    truth = light.press(face)
    x, y = face.width / 2, face.depth / 2
    pixels = truth.projector_from_platen([(-x, -y), (x, -y), (-x, y), (x, y)])
    corners = (pixels + 0.5) / (1920, 1080)
    before = light.frame
    for number, (across, down) in enumerate(corners):
        held = drawn.locator("g").nth(number).bounding_box()
        page.mouse.move(held["x"] + held["width"] / 2, held["y"] + held["height"] / 2)
        page.mouse.down()
        with page.expect_response("**/setup/outline"):
            page.mouse.move(box["x"] + across * box["width"], box["y"] + down * box["height"])
        assert light.frame is not before  # before it is let go
        before = light.frame
        with page.expect_response("**/setup/outline"):
            page.mouse.up()
    expect(page.locator("#covered")).to_contain_text("the picture covers it")
    assert serious(page) == []
    kept = np.array(served.app.state.setup.guide().outline)
    assert np.abs(kept - corners).max() < 0.01  # to a pixel of a phone's picture of the picture

    corner = page.get_by_role("button", name="Corner 1, front left")
    with page.expect_response("**/setup/outline"):
        corner.press("ArrowLeft")
    assert served.app.state.setup.guide().outline[0][0] < kept[0][0]


@pytest.mark.proof
@pytest.mark.slow
def test_a_camera_carried_round_takes_the_photos_and_the_rig_is_true(ask, served, light):
    reach(ask, SetupStep.PHOTOS)
    desk = served.app.state.setup
    assert ask("/setup/photos/watch", form={"camera": "0"}).headers["location"] == "/setup/solve"
    seen = set()
    while desk.working is not None:
        if desk.working.sight is not None:
            seen.add(desk.working.sight.sentence)
            picture = cv2.imdecode(np.frombuffer(desk.working.sight.picture, np.uint8), 1)
            assert max(picture.shape) <= 800
        time.sleep(0.1)
    assert any("move the camera to your left" in each for each in seen), seen
    assert desk.guide().step is SetupStep.VERDICT, desk.guide().refused
    assert light.frame is None
    rig, truth = library.open_rig(desk.guide().rig), light.press(desk.guide().face)
    places = np.array([(x, y) for x in (-190.0, 0.0, 190.0) for y in (-240.0, 0.0, 240.0)])
    landed = truth.platen_from_projector(rig.projector.projector_from_platen(places, 4.0), 4.0)
    assert np.hypot(*(landed - places).T).max() < 1.0


@pytest.mark.proof
@pytest.mark.slow
def test_the_eye_is_fitted_by_the_page_and_stands_where_it_stands(ask, served, light):
    rig = demo_rig()
    library.keep(rig)
    library.set_default(rig.name)
    assert "no press" not in ask("/setup/eye").text
    assert ask("/setup/eye", form={"rig": rig.name, "view": "200"}).status == 400
    assert ask("/setup/eye", form={"rig": rig.name}).status == 303
    eye = served.app.state.eye
    while eye.looking is not None:
        time.sleep(0.1)
    assert eye.refused == ""
    # The stand-in's camera, which the fit never sees.
    assert np.abs(library.open_rig(rig.name).eye.camera.lens - np.array(_STANDS)).max() < 15.0
    answer = ask("/setup/eye").text
    assert f"within {eye.fitted.bound:.1f} mm" in answer
    assert ask("/setup/eye.png").headers["content-type"] == "image/png"
    assert light.frame is None
