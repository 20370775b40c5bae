"""Photos taken until they make a rig: what a refusal leaves of them, and what it asks for."""

from __future__ import annotations

from pathlib import Path

import pytest

from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.setup.camera.take import Wanted
from chalkbeam.setup.camera.until_accepted import take_until_accepted
from tests.support import live_camera
from tests.support.live_camera import SPACER, Reel


@pytest.fixture(autouse=True)
def _see_each_picture_once(monkeypatch):
    live_camera.see_each_picture_once(monkeypatch)


def until_accepted(views, places, answers, count=2, spacer=0.0):
    """Take photos until an answer is None; return the sets judged and what is told."""
    answers, judged, told = list(answers), [], []

    def solve(photos, at_every_height):
        judged.append(([str(shot.path) for shot in photos], at_every_height))
        if (answer := answers.pop(0)) is not None:
            raise answer
        return "a rig"

    truth = live_camera.watched_rig()
    wanted = Wanted(truth.face, truth.projector.view.size, count, spacer)
    reel = Reel([views[place] for place in places for _ in range(4)])
    names = take_until_accepted(
        reel, wanted, lambda name, image: Path(f"{name}.png"), told.append, solve
    )
    assert names == "a rig"
    return judged, told


ONE, TWO, THREE = "flat-1.png", "flat-2.png", "flat-3.png"


def refusal(said, kind, value=""):
    return Refusal(f"{said}: ", Remedy(kind, "do that", value), ".")


WIDE = refusal("Light could land 1.3 mm off", RemedyKind.ONE_MORE)
BLURRED = refusal(f"Corners in {ONE} scatter by 0.50 mm", RemedyKind.AGAIN, ONE)
MOVED = refusal("The projector has moved between the photos", RemedyKind.SINCE_MOVED)
LAY = refusal("The front-left card lies 4.0 mm to the right of its place", RemedyKind.ALL_AGAIN)
LAY_ON_SPACER = refusal("The front-left card on the board lies wrong", RemedyKind.SPACER_AGAIN)
HEIGHT = refusal("Light could land 1.3 mm off, 4 mm up", RemedyKind.ON_SPACER)
MEASURE = refusal("The cards look 1.5 % larger than drawn", RemedyKind.BAR)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("refused", "then"),
    [
        (WIDE, [ONE, TWO, THREE]),
        (BLURRED, [TWO, THREE]),
        (MOVED, [TWO, THREE]),
        # Whatever the sentence says: the remedy alone counts.
        (
            refusal(f"{ONE} and the photos again, the keystone", RemedyKind.ONE_MORE),
            [ONE, TWO, THREE],
        ),
    ],
)
def test_good_photos_stay_when_a_set_is_refused(views, refused, then):
    judged, told = until_accepted(views, ["front", "left", "right"], [refused, None])
    assert judged == [([ONE, TWO], True), (then, True)]
    (said,) = [progress for progress in told if progress.refused]
    assert said.sentence == str(refused)
    assert (said.number, said.count) == (len(then), len(then))


def test_what_is_to_be_laid_again_begins_again(views):
    judged, _ = until_accepted(views, ["front", "left", "front", "right"], [LAY, None])
    assert judged == [([ONE, TWO], True), ([THREE, "flat-4.png"], True)]


@pytest.mark.parametrize("side", ["left", "right"])
def test_the_side_asked_for_is_the_one_advised(views, side):
    wide = refusal("Light could land 1.3 mm off", RemedyKind.ONE_MORE, side)
    _, told = until_accepted(views, ["front", "front", "left"], [wide, None], count=1)
    after = " ".join(p.sentence for p in told[[p.refused for p in told].index(True) :])
    assert f"Next from another side: move the camera to your {side}" in after


def test_the_bare_platen_is_judged_before_the_spacer_is_asked_for(views):
    places = ["front", "left", "spacer"]
    judged, _ = until_accepted(views, places, [WIDE, None, None], count=1, spacer=SPACER)
    assert judged == [
        ([ONE], False),
        ([ONE, TWO], False),
        ([ONE, TWO, "raised-10mm.png"], True),
    ]


RAISED, RAISED_AGAIN = "raised-10mm.png", "raised-10mm-2.png"


@pytest.mark.parametrize("refused", [LAY, MOVED, BLURRED])
def test_what_the_spacer_shows_of_the_bare_platen_begins_again(views, refused):
    # The board still lies there when the bare platen is asked for: that is told, not taken.
    places = ["front", "spacer", "spacer", "left", "spacer"]
    answers = [None, refused, None, None]
    judged, told = until_accepted(views, places, answers, count=1, spacer=SPACER)
    assert judged == [
        ([ONE], False),
        ([ONE, RAISED], True),
        ([TWO], False),
        ([TWO, RAISED_AGAIN], True),
    ]
    (said,) = [progress for progress in told if progress.refused]
    assert said.sentence.startswith(str(refused))
    assert "Take the board away" in said.sentence
    assert (said.number, said.raised) == (1, 0.0)
    after = told[told.index(said) + 1 :]
    assert any("Now take the board away" in progress.sentence for progress in after)


def test_beginning_again_is_done_once_and_says_why_it_was(views):
    places = ["front", "spacer", "left", "spacer", "right"]
    with pytest.raises(Refusal, match="front-left card lies"):
        until_accepted(views, places, [None, LAY, None, LAY, None], count=1, spacer=SPACER)
    with pytest.raises(Refusal, match="front-left card lies"):  # the recording ends
        until_accepted(views, places[:2], [None, LAY, None], count=1, spacer=SPACER)


def test_a_card_laid_wrong_on_the_spacer_leaves_the_bare_platen_as_it_was(views):
    answers = [None, LAY_ON_SPACER, None]
    judged, _ = until_accepted(
        views, ["front", "spacer", "spacer"], answers, count=1, spacer=SPACER
    )
    assert judged[1:] == [([ONE, RAISED], True), ([ONE, RAISED_AGAIN], True)]


def test_height_in_doubt_is_not_photographed_for_ever(views):
    places = ["front", "left", "right"]
    with pytest.raises(Refusal, match="4 mm up"):
        until_accepted(views, places, [HEIGHT, HEIGHT, HEIGHT, None], count=1)
    judged, _ = until_accepted(views, places, [HEIGHT, HEIGHT, None], count=1)
    assert judged[-1] == ([ONE, TWO, THREE], True)


def test_no_photo_cures_a_wrong_measure(views):
    with pytest.raises(Refusal, match="larger than drawn"):
        until_accepted(views, ["front", "left", "right"], [MEASURE, None])
    with pytest.raises(Refusal, match="larger than drawn"):
        until_accepted(
            views, ["front", "spacer", "left"], [None, MEASURE, None], count=1, spacer=SPACER
        )
    with pytest.raises(Refusal, match="disk is full"):  # nor what says nothing of photos
        until_accepted(views, ["front", "left", "right"], [Refusal("The disk is full."), None])
    with pytest.raises(Refusal, match="could land"):  # the recording ends: why more were wanted
        until_accepted(views, ["front", "left"], [WIDE, None])
