"""What a camera saw of a press, as its record has it."""

import math

import pytest

from chalkbeam.record.events import Event, Kind
from chalkbeam.record.laid import SeenOnRecord, laid_words, printed_of, printed_words, seen_of


def pressed(**seen):
    return Event("e", Kind.PRESSED, "1-1/1", data={"seen": seen})


def laid(x, y, turned=0.0):
    return pressed(transfer={"off_mm": [x, y], "turned_deg": turned, "verdict": "good"})


def test_what_was_seen_is_read_back():
    seen = seen_of(
        pressed(
            garment={"sure": True},
            picture="a.jpg",
            transfer={"off_mm": [0.3, -0.4], "turned_deg": 1.5, "verdict": "move"},
        )
    )
    assert (seen.garment_sure, seen.verdict, seen.picture) == (True, "move", "a.jpg")
    assert (seen.off.x, seen.off.y) == (0.3, -0.4)
    assert seen.off.angle == pytest.approx(math.radians(1.5))


def test_a_press_without_a_camera_has_nothing_seen():
    assert seen_of(Event("e", Kind.PRESSED, "1-1/1")) == SeenOnRecord()


@pytest.mark.parametrize(
    "transfer",
    [None, 3, {"off_mm": [1.0]}, {"off_mm": ["x", 2.0]}, {"off_mm": [math.nan, 0.0]},
     {"off_mm": [0.0, 0.0], "turned_deg": "askew"}, {"off_mm": None}],
)  # fmt: skip
def test_what_cannot_be_read_is_left_out(transfer):
    assert seen_of(pressed(transfer=transfer, garment="yes")).off is None


def test_the_report_says_how_far_off_transfers_lay():
    # 3-4-5 triangles: 0.5, 1.0 and 2.5 mm, so the median is 1.0
    events = [laid(0.3, 0.4), laid(0.6, 0.8), laid(1.5, 2.0), Event("n", Kind.PRESSED, "2-1/1")]
    words = laid_words(events)
    assert "3 transfers" in words
    assert "1.0 mm off its place at the median, 2.5 mm at most" in words
    assert laid_words(events[3:]) == ""


def test_a_remark_says_where_a_pressed_print_lies():
    # 3-4-5 triangles again: 1.5 and 0.5 mm
    seen = [{"off_mm": [0.9, 1.2], "turned_deg": 0.5}, {"off_mm": [0.3, 0.4], "turned_deg": None}]
    notes = [Event("n", Kind.NOTED, "1-1/1", data={"text": "as seen", "print": s}) for s in seen]
    printed = [printed_of(note) for note in notes]
    assert (printed[0].x, printed[0].y) == (0.9, 1.2)
    assert printed_of(Event("n", Kind.NOTED, data={"text": "a remark"})) is None
    words = printed_words([*printed, None])
    assert words == (
        "The camera saw 2 prints as pressed: 1.0 mm off its place at the median, 1.5 mm at most."
    )
