"""The press's own steps: pre-press, peel, cooling with the next garment meanwhile, second press.

What is asked for and in which order is common practice, no source; the settings are invented.
"""

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.orders.times import Times
from chalkbeam.record.events import AFTER_PRESS, UNDER_HEAD, Step
from chalkbeam.record.progress import At, Outcome
from chalkbeam.station.press_steps import WAITED_OUT, steps_of
from chalkbeam.station.state import PRESSED_ALREADY
from chalkbeam.station.values import Asking, CommandKind
from overlay.window.inputs import Key, Tick
from tests.support.hand import Hand

LOAD, PREPRESS, LAY, PRESS, PEEL, SECOND = Step
PLAIN = PressSettings(time="10 s", dwell=10.0)
ALL = replace(PLAIN, prepress="3 s", prepress_dwell=3.0, peel="cold", cooling="15 s",
              cooling_wait=15.0, second="5 s, parchment", second_dwell=5.0)  # fmt: skip
COLD = replace(PLAIN, peel="cold", cooling="60 s", cooling_wait=60.0)
COLD_TWICE = replace(COLD, second="5 s", second_dwell=5.0)


def order(*settings, more=()):
    """Stops of pieces with one imprint each, and more imprints on the first."""
    art = Art(ArtKind.FILE, "crest.svg")
    pieces = []
    for row, press in enumerate(settings, start=2):
        places = [("left chest", press), *(more if row == 2 else ())]
        imprints = tuple(
            Imprint(f"{row}-1/{number}", where, art, press=own)
            for number, (where, own) in enumerate(places, start=1)
        )
        pieces.append(Piece(f"{row}-1", row, 1, 1, "tee", "M", "navy", imprints))
    return plan(pieces, Times(), as_listed=True).stops


def walk(hand, keys=40, wait=20.0):
    """Press the step key to the end; return what it went through, settings left out."""
    seen = []
    for _ in range(keys):
        if hand.progress.stop is None:
            break
        seen.append((hand.progress.stop.imprint.id, hand.progress.at.step))
        hand.press("space", wait=wait)
    return seen


@pytest.fixture
def hand():
    """Nothing is to be set: the settings give times alone, and the peel is said by none."""
    return lambda *settings, **more: Hand(order(*(replace(e, peel="") for e in settings), **more))


def test_only_what_the_sheet_asks_for_is_a_step(hand):
    assert [step for _, step in walk(hand(PLAIN))] == [LOAD, LAY, PRESS]
    assert [step for _, step in walk(hand(ALL))] == [LOAD, PREPRESS, LAY, PRESS, PEEL, SECOND]
    assert steps_of(hand(ALL).progress, 0) == (LOAD, PREPRESS, LAY, PRESS, PEEL, SECOND)


@pytest.mark.parametrize(
    ("steps", "wait", "said"),
    [
        (1, 1.0, "2 s of the pre-press left: once more if it is done"),
        (3, 4.0, "6 s of the dwell left: once more if it is done"),
        (4, 5.0, "10 s of the cooling left: once more if it is done"),
        (5, 2.0, "3 s of the second press left: once more if it is done"),
    ],
)
def test_each_time_is_counted_and_can_be_cut_short_knowingly(hand, steps, wait, said):
    hand = hand(ALL).press(*["space"] * steps, wait=20.0)
    at = hand.progress.at
    hand.press("space", wait=wait)
    assert (hand.state.said, hand.progress.at) == (said, at)
    hand.press("space", wait=0.5)
    assert hand.progress.at != at


def test_a_second_press_is_no_second_count(hand):
    hand = hand(ALL, PLAIN)
    walk(hand)
    assert [each.kind for each in hand.done].count(CommandKind.PRESS) == 2
    assert hand.progress.pressed() == 2


def test_the_next_garment_comes_meanwhile(hand):
    hand = hand(COLD, PLAIN, PLAIN)
    assert COLD.cooling_wait > WAITED_OUT
    assert walk(hand) == [
        ("2-1/1", LOAD), ("2-1/1", LAY), ("2-1/1", PRESS),
        ("3-1/1", LOAD), ("3-1/1", LAY), ("3-1/1", PRESS),
        ("2-1/1", PEEL),  # it has cooled
        ("4-1/1", LOAD), ("4-1/1", LAY), ("4-1/1", PRESS),
    ]  # fmt: skip
    assert set(hand.progress.outcomes.values()) == {Outcome.PRESSED}


def test_what_has_not_cooled_waits_until_nothing_else_is_left(hand):
    hand = hand(replace(COLD, cooling_wait=3000.0), PLAIN, PLAIN)
    steps = [(imprint, step) for imprint, step in walk(hand, 9)]
    assert steps[3:] == [
        ("3-1/1", LOAD), ("3-1/1", LAY), ("3-1/1", PRESS),
        ("4-1/1", LOAD), ("4-1/1", LAY), ("4-1/1", PRESS),
    ]  # fmt: skip
    assert hand.progress.at == At(0, PEEL)
    hand.press("space")
    assert "of the cooling left" in hand.state.said
    hand.press("space")
    assert hand.progress.stop is None


def test_a_second_press_comes_before_the_press_is_set_otherwise():
    """Cold peel at 280 twice, then a hot one at 305: not 280, 305 and 280 again."""
    cool = replace(COLD_TWICE, temperature="280 F", cooling_wait=3000.0)
    hand = Hand(order(cool, cool, replace(PLAIN, temperature="305 F")))
    hand.press("space", *["space"] * 6, wait=20.0)
    assert hand.progress.at == At(0, PEEL)
    hand.press("space", "space", "space", wait=20.0)
    assert hand.progress.at == At(1, PEEL)
    hand.press("space", "space", "space", wait=20.0)
    assert hand.progress.at == At(2, LOAD)


def test_the_same_garment_takes_no_other_print_with_its_carrier_on(hand):
    hand = hand(COLD, PLAIN, more=[("right chest", PLAIN)])
    assert walk(hand)[2:] == [
        ("2-1/1", PRESS),
        ("3-1/1", LOAD), ("3-1/1", LAY), ("3-1/1", PRESS),
        ("2-1/1", PEEL),
        ("2-1/2", LOAD), ("2-1/2", LAY), ("2-1/2", PRESS),
    ]  # fmt: skip


def test_a_garment_is_pre_pressed_once_for_all_that_is_pressed_as_it_lies(hand):
    hand = hand(PLAIN, more=[("right chest", replace(PLAIN, prepress="5 s", prepress_dwell=5.0))])
    assert [step for _, step in walk(hand)] == [LOAD, PREPRESS, LAY, PRESS, LAY, PRESS]
    hand.press("u", "u", "u", "u", "page up")  # back to the load after the pre-press
    assert hand.progress.at == At(0, LOAD)
    hand.press("space")
    assert hand.progress.at == At(0, LAY)


def test_what_was_done_is_taken_back_step_by_step(hand):
    hand = hand(COLD_TWICE, PLAIN)
    seen = []
    while hand.progress.stop is not None:
        seen.append((hand.progress.at, hand.progress.waits(0)))
        hand.press("space", wait=20.0)
    for at, waits in reversed(seen):
        hand.press("u")
        assert (hand.progress.at, hand.progress.waits(0)) == (at, waits)
    assert hand.progress.outcomes == {}


def test_spoiled_at_the_peel_a_fresh_garment_begins_anew(hand):
    hand = hand(ALL, PLAIN).press(*["space"] * 4, wait=20.0)
    assert hand.progress.at == At(0, PEEL)
    hand.press("x", "4", "1")
    assert hand.progress.at == At(0, LOAD)
    assert hand.progress.waits(0) is None
    assert [step for _, step in walk(hand)][:6] == [LOAD, PREPRESS, LAY, PRESS, PEEL, SECOND]


def test_spoiled_at_the_peel_and_left_out_it_comes_back_no_more(hand):
    hand = hand(COLD, PLAIN).press(*["space"] * 6, wait=20.0)
    assert hand.progress.at == At(0, PEEL)
    hand.press("x", "4", "3")
    assert hand.progress.outcomes["2-1/1"] is Outcome.SPOILED
    assert hand.progress.stop is None


def test_what_is_pressed_cannot_be_skipped_or_put_elsewhere(hand):
    hand = hand(ALL, PLAIN).press(*["space"] * 4, wait=20.0)
    for key in ("s", "1", "g"):
        hand.press(key)
        assert hand.state.said == PRESSED_ALREADY
    hand.press("j", "2", "-", "1", "return")
    assert (hand.state.said, hand.progress.at) == (PRESSED_ALREADY, At(0, PEEL))


@pytest.mark.parametrize(("answer", "waits"), [("1", True), ("2", False)])
def test_who_jumps_away_from_under_the_press_peels_it_later(hand, answer, waits):
    hand = hand(ALL, PLAIN).press(*["space"] * 3, wait=20.0)
    hand.press("j", "3", "-", "1", "return")
    assert hand.state.asking is Asking.PRESSED
    hand.press(answer)
    assert hand.progress.at == At(1, LOAD)
    assert (hand.progress.waits(0) is not None) is waits
    hand.press(*["space"] * 3, wait=20.0)
    assert hand.progress.at == At(0, PEEL if waits else LOAD)


def test_who_jumps_away_from_the_peel_comes_back_to_it(hand):
    hand = hand(ALL, PLAIN).press(*["space"] * 4, wait=20.0)
    hand.press("j", "3", "-", "1", "return")
    assert hand.progress.at == At(1, LOAD)
    hand.press("j", "2", "-", "1", "return")  # its code leads to the peel, not to another press
    assert hand.progress.at == At(0, PEEL)


@pytest.mark.parametrize(
    ("steps", "asked", "no"),
    [
        (2, "was it pre-pressed?", PREPRESS),
        (4, "was it pressed?", LAY),
        (6, "was it pressed the second time?", PEEL),
    ],
)
def test_after_a_restart_each_closed_press_is_asked_about(hand, steps, asked, no):
    hand = hand(ALL).press(*["space"] * (steps - 1), wait=20.0)
    hand.state = replace(hand.state, pressing_since=None)  # nobody saw it close
    hand.press("space")
    assert hand.state.question.endswith(asked)
    hand.press("2")
    assert hand.progress.at == At(0, no)
    if no is PREPRESS:  # it is closed for it now
        hand.press("space")
        assert "of the pre-press left" in hand.state.said


def test_leaving_the_question_takes_two_escapes(hand):
    hand = hand(PLAIN).press("space", "space")
    hand.state = replace(hand.state, pressing_since=None)
    hand.press("space", "escape")
    assert (hand.state.asking, hand.state.over) == (None, False)
    hand.press("escape")
    assert hand.state.over
    assert hand.progress.at == At(0, PRESS)  # asked again where it is gone on with


NAMES = ["space", "page up", "1", "2", "3", "4", "s", "x", "u", "j", "g", "p", "return", "escape",
         "-"]  # fmt: skip


@given(
    st.lists(st.sampled_from([PLAIN, ALL, COLD, COLD_TWICE]), min_size=1, max_size=4),
    st.lists(
        st.tuples(st.sampled_from(NAMES), st.booleans(), st.sampled_from([0.1, 2.0, 20.0, 90.0])),
        max_size=70,
    ),
)
def test_whatever_is_pressed_every_print_is_pressed_once_and_peeled(settings, keys):
    stops = order(*(replace(each, peel="") for each in settings), more=[("right chest", COLD)])
    hand = Hand(stops)
    for name, shift, wait in keys:
        hand.at += wait
        hand.give(Tick(hand.at))
        before = hand.progress.at
        hand.give(Key(name, shift=shift, at=hand.at, text=name if len(name) == 1 else ""))
        here = hand.progress.at
        if hand.state.over:
            break
        waiting = [index for index in range(len(stops)) if hand.progress.waits(index)]
        for index in waiting:  # neither done nor to be laid again
            assert stops[index].imprint.id not in hand.progress.outcomes
            assert here.index != index or here.step in AFTER_PRESS
        if here.step in UNDER_HEAD and here.index is not None and here != before:
            laid_on = stops[here.index].piece.id
            others = [index for index in waiting if index != here.index]
            assert all(stops[index].piece.id != laid_on for index in others)
    hand.state = replace(hand.state, held=(), asking=None, moving=None, leaving=False)
    if hand.progress.paused:
        hand.press("p")
    for _ in range(60):  # the step key alone brings every print to its end
        if hand.progress.stop is None:
            break
        hand.press("1" if hand.state.asking else "space", wait=90.0)
    assert hand.progress.stop is None
    presses = Counter(hand.progress.outcomes.values())
    assert sum(presses.values()) == len(stops)
    assert hand.progress.aside() == ()
