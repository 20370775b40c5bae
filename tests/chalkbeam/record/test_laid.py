"""What the camera saw, on record and in the report; records from before it load as ever."""

import math

import pytest

from chalkbeam.record.events import Event, Kind
from chalkbeam.record.laid import SeenOnRecord, laid_words, seen_of


def pressed(**seen):
    return Event(
        "e", Kind.PRESSED, "2-1/1", data={"pose": None, **({"seen": seen} if seen else {})}
    )


def off(x, y, turned=0.0, verdict="good"):
    return {"off_mm": [x, y], "turned_deg": turned, "verdict": verdict}


def test_what_was_seen_is_read_back():
    seen = seen_of(pressed(garment={"sure": True}, transfer=off(3.0, -4.0, 2.0), picture="a.jpg"))
    assert seen.garment_sure
    assert seen.off.length == pytest.approx(5.0)
    assert seen.off.angle == pytest.approx(math.radians(2.0))
    assert (seen.verdict, seen.picture) == ("good", "a.jpg")


@pytest.mark.parametrize(
    "seen", [{}, {"transfer": None}, {"transfer": {"off_mm": None, "verdict": "cannot see"}},
             {"transfer": {"off_mm": ["a", 2]}}, {"transfer": {"off_mm": [math.nan, 0.0]}}],
)  # fmt: skip
def test_what_was_not_seen_or_cannot_be_read_is_left_out(seen):
    assert seen_of(pressed(**seen)).off is None


def test_a_press_from_before_there_was_a_camera_says_nothing():
    assert seen_of(pressed()) == SeenOnRecord()
    assert laid_words([pressed()]) == ""


def test_the_report_says_how_far_off_transfers_were_laid():
    words = laid_words(
        [pressed(transfer=off(0.3, 0.4)), pressed(transfer=off(3.0, 4.0)), pressed()]
    )
    assert words == (
        "The camera saw 2 transfers before the press closed: 2.8 mm off its place at the median, "
        "5.0 mm at most."
    )
