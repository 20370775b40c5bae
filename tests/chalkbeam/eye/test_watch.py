"""What the watch says of a filmed press: each sight, in changing light, and each fault."""

import cv2
import numpy as np
import pytest

from chalkbeam.eye import faults as said
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.flashes import burst_frames
from chalkbeam.eye.sights import Sight
from chalkbeam.eye.watch import STILL, PressWatch
from chalkbeam.simulator.press.stage import Stage
from tests.support.filmed_press import (
    EMPTY,
    GREY,
    NAVY,
    WHITE,
    arm,
    film,
    rig_with_eye,
    sheet,
    shirt,
    watched,
)


def light(*corners):
    """Return a projector's picture with a rectangle of light."""
    frame = np.zeros((540, 960, 3), np.uint8)
    cv2.rectangle(frame, *corners, (0, 255, 0), 2)
    return frame


LOAD, LAY = light((300, 100), (660, 440)), light((500, 150), (600, 230))


class Press:
    """A watch at a filmed press, its bare platen remembered."""

    def __init__(self, **by):
        self.film, self.watch, self.at = (
            film(size=(320, 180), **by),
            PressWatch(rig_with_eye()),
            0.0,
        )
        self.see(EMPTY, 1.2)
        self.watch.remember_bare()

    def see(self, stage, seconds=1.2, frame=None):
        """Return the last sight and fault, and every sight on the way."""
        glances, self.at = watched(self.watch, self.film, stage, self.at, seconds, frame)
        return glances[-1], [each.sight for each in glances]

    def load(self, garment):
        """Lay a garment by hand; remember it once it is seen."""
        self.see(Stage(garment=garment, arms=(arm(),)), 0.3, LOAD)
        last, _ = self.see(Stage(garment=garment), frame=LOAD)
        self.watch.remember_loaded()
        return last.sight


@pytest.mark.parametrize(
    ("colour", "by"), [(NAVY, {}), (GREY, {}), (WHITE, {"exposes_itself": True})]
)
def test_a_piece_of_work_is_seen_step_by_step(colour, by):
    press, garment = Press(**by), shirt(colour, 8.0, 15.0, 3.0)
    assert press.see(EMPTY, frame=LOAD)[0].sight is Sight.EMPTY
    assert press.load(garment) is Sight.CLOTH
    assert press.see(Stage(garment=garment), frame=LAY)[0].sight is Sight.LOADED
    on = Stage(garment=garment, sheets=(sheet(),))
    reaching = Stage(garment=garment, sheets=(sheet(),), arms=(arm(80.0, 120.0),))
    assert Sight.MOVING in press.see(reaching, 0.4, LAY)[1]
    assert press.see(reaching, frame=LAY)[0].sight is Sight.REACHING
    assert press.see(on, frame=LAY)[0].sight is Sight.SHEET
    closed = Stage(garment=garment, sheets=(sheet(),), head=1.0)
    assert press.see(closed, frame=LAY)[0].sight is Sight.COVERED
    assert press.see(closed)[0].sight is Sight.COVERED
    assert press.see(on)[0].sight is Sight.SHEET
    assert press.see(Stage(room=1.08), frame=LOAD)[0].sight is Sight.EMPTY


def test_room_light_and_shadows_of_the_light_itself_are_no_movement():
    press = Press()
    for room, frame in ((1.0, LOAD), (1.08, LOAD), (0.92, LAY), (1.0, None)):
        last, sights = press.see(Stage(room=room), 1.0, frame)
        assert last.sight is Sight.EMPTY
        assert Sight.CLOTH not in sights
        assert Sight.COVERED not in sights


def test_a_shadow_that_moves_is_movement():
    press = Press()
    press.load(shirt())
    for x in (-150.0, -50.0, 50.0):
        last, _ = press.see(Stage(garment=shirt(), shadow=(x, 0.0)), 0.2, LOAD)
    assert last.sight is Sight.MOVING


def test_still_means_still_for_half_a_second():
    press = Press()
    press.see(Stage(garment=shirt(), arms=(arm(),)), 0.3)
    glances, _ = watched(press.watch, press.film, Stage(garment=shirt()), press.at, 1.2)
    first = next(k for k, each in enumerate(glances) if each.sight is Sight.CLOTH)
    assert first / 12.0 >= STILL


@pytest.mark.parametrize(
    ("stage", "sentence"),
    [(Stage(capped=True), said.COVERED), (Stage(bumped=(8.0, 3.0)), said.MOVED),
     (Stage(room=0.0), said.BLACK), (Stage(room=60.0), said.BRIGHT)],
)  # fmt: skip
def test_a_fault_is_told_by_its_sentence_and_no_sight_comes_before_it(stage, sentence):
    press = Press()
    last, sights = press.see(stage, 2.4)
    assert last.fault == sentence
    assert set(sights[4:]) <= {None, Sight.MOVING}
    assert press.see(EMPTY, 1.2)[0].sight is Sight.EMPTY  # and it sees again


def test_a_picture_that_stands_still_is_no_still_platen():
    press = Press()
    picture = press.film.picture(press.at)
    glances = [press.watch.look(picture, press.at + k / 12.0) for k in range(60)]
    assert glances[-1].fault == said.FROZEN


def test_a_transfer_is_looked_for_where_it_is_to_lie():
    press = Press()
    press.load(shirt())
    laid = Stage(garment=shirt(), sheets=(sheet(),))
    press.watch.aims_at(sheet(-90.0, -120.0).corners)
    assert press.see(laid, frame=LOAD)[0].sight is Sight.SHIFTED
    press.watch.aims_at(sheet().corners)
    assert press.see(laid, frame=LOAD)[0].sight is Sight.SHEET


def test_a_transfer_that_is_laid_at_once_is_no_part_of_the_garment():
    press, garment = Press(), shirt()
    press.load(garment)
    press.see(Stage(garment=garment), frame=LOAD)
    press.see(Stage(garment=garment), 0.4, LAY)  # new light, and not yet still in it
    press.watch.remember_loaded()
    laid = Stage(garment=garment, sheets=(sheet(),))
    press.see(Stage(garment=garment, sheets=(sheet(),), arms=(arm(),)), 0.3, LAY)
    assert press.see(laid, frame=LAY)[0].sight is Sight.SHEET


@pytest.mark.parametrize("colour", [NAVY, WHITE], ids=["navy", "white"])
def test_by_the_projectors_light_alone_a_sheet_is_told_from_shadow_hand_and_garment(colour):
    rig, at = rig_with_eye(), 0.0
    frames = {each.name: each.image for each in burst_frames(rig)}
    watch, filmed = PressWatch(rig), film(size=(480, 270))
    paper = sheet(90, 150, (220, 160))
    watch.aims_at(paper.corners)

    def burst(stage):
        nonlocal at
        pictures = {}
        for name in ("dark", "white", "dim"):
            filmed.stage(stage, at)
            filmed.show(frames[name], at)
            at += 1.0
            pictures[name] = filmed.picture(at)
        return Burst("here", pictures)

    alone = burst(Stage(shirt(colour)))
    for stage, lies, elsewhere, hidden in (
        (Stage(shirt(colour), shadow=(50.0, 50.0), room=0.7), False, False, False),
        (Stage(shirt(colour), (paper,), shadow=(-100.0, 50.0)), True, False, False),
        (Stage(shirt(colour), (paper,), (arm(-40.0, 0.0),)), True, True, False),
        (Stage(shirt(colour, x=4.0)), False, True, False),
        (Stage(shirt(colour), head=1.0), True, True, True),
    ):
        changed = watch.changed_between(alone, burst(stage))
        assert watch.lies_at_target(changed) is lies
        assert watch.changed_elsewhere(changed) is elsewhere
        assert watch.hidden(changed) is hidden
