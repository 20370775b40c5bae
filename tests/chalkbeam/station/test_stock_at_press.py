"""What is left when a print is spoiled: garments and transfers, by the shop's own lists."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chalkbeam.basics.units import Unit
from chalkbeam.orders.cut_list import cut_list
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Cut, Imprint, Piece
from chalkbeam.orders.printed import as_needed, wanted
from chalkbeam.record.events import Event, Kind, Step, new_id
from chalkbeam.record.progress import At
from chalkbeam.record.store import Store
from chalkbeam.record.summary import TransferUse, summarise
from chalkbeam.station.values import WHY_SPOILED
from overlay.window.inputs import Key, Tick
from tests.support.crew_order import crew, open_run
from tests.support.hand import Hand
from tests.support.press import Press

ONLY = str(len(WHY_SPOILED))


def order():
    """Two shirts with a crest each, and a back; ganged: numbers 1 and 2 of one file."""
    crest, back = (Art(ArtKind.FILE, "gang.png", cut=Cut(pick=pick)) for pick in (1, 2))
    return [
        Piece(f"{row}-1", row, 1, 1, "tee", "M", "navy", (
            Imprint(f"{row}-1/1", "left chest", crest), Imprint(f"{row}-1/2", "full back", back)
        ))
        for row in (2, 3)
    ]  # fmt: skip


def stocked(pieces, spare=1, garments=3):
    """What there is: as many as the order takes, and so many more of each."""
    there = {each.key: count + spare for each, count in wanted(pieces).items()}
    words = {each.key: each.words(Unit.MM) for each in wanted(pieces)}
    cuts = cut_list(pieces, as_needed(pieces))
    return {"transfers": there, "words": words, "sheets": cuts.taken_from(),
            "garments": {pieces[0].pile: garments}}  # fmt: skip


@pytest.fixture
def hand():
    pieces = order()
    hand = Hand(plan(pieces, as_listed=True).stops)
    hand.progress.apply(Event(new_id(), Kind.STOCKED, data=stocked(pieces)))
    return hand


def test_a_spoiled_piece_is_told_what_is_left_for_another(hand):
    hand.press(*["space"] * 3, wait=20.0)  # the crest is on; the back is under the press
    assert hand.progress.at == At(1, Step.LOAD)
    hand.press("space", "space")
    hand.press("x", "3")
    # Two of three crests were there for two shirts and one spare: one is used, two are left.
    assert hand.state.question == (
        "Spoiled: and now? Left: garments 1, left chest transfers 2, full back transfers 2."
    )
    hand.press("1")  # a fresh garment
    assert hand.progress.at == At(1, Step.LOAD)
    assert hand.progress.garments_left(0) == 0
    hand.press("j", "2", "-", "1", "return", *["space"] * 3, wait=20.0)
    hand.press("space", "space", "x", "3")
    assert hand.state.question == (
        "Spoiled: and now? Left: garments none, left chest transfers 1, full back transfers 1."
    )
    hand.press("u")
    assert "answer with" in hand.state.said


def test_a_transfer_alone_is_spoiled_and_the_garment_stays(hand):
    hand.press("space", "x", ONLY)
    assert hand.state.said == "take another transfer: 2 left"
    assert hand.progress.at == At(0, Step.LAY)
    hand.press("x", ONLY, "x", ONLY)
    assert hand.state.said == "no transfer left by the list: S skips it"
    hand.press("u", "u", "u")
    assert hand.progress.stock.transfers_left(hand.progress.stops[0]) == 3
    hand.press("space", "x", ONLY)
    assert hand.state.said == "it is on the garment: give another reason"


def test_without_lists_nothing_is_said_of_what_is_left():
    hand = Hand(plan(order(), as_listed=True).stops)
    hand.press("x", "1")
    assert hand.state.question == "Spoiled: and now?"
    hand.press("escape", "x", ONLY)
    assert hand.state.said == "take another transfer; S skips it if there is none"


def test_record_light_and_report_tell_it(tmp_path):
    pieces = crew(tmp_path)
    press = Press(open_run(tmp_path, pieces=pieces))
    cuts = cut_list(pieces, as_needed(pieces))
    press.session.stocked(cuts, {pieces[0].pile: 1}, lambda each: each.words(Unit.MM))
    assert "transfer: pennant.png, number 1" in press.words()
    assert press.display().fitting == "transfer: pennant.png, number 1"
    press.keys("space", "x", ONLY, "space", "space")
    with Store(tmp_path / "record.db") as store:
        found = summarise(store.latest(), store.events(store.latest()))
    assert found.transfers[0] == TransferUse("pennant, 90 mm wide", 3, 2)
    press.keys("space", "space", "x", "1")
    assert press.display().asked[0] == (
        "Spoiled: and now? Left: left chest transfers none."
    )  # fmt: skip


NAMES = ["space", "page up", "x", "1", "2", "3", "s", "u", "j", "return", "escape", ONLY]


@given(st.lists(st.tuples(st.sampled_from(NAMES), st.booleans()), max_size=60))
def test_whatever_is_pressed_transfers_are_counted_as_they_are_used(keys):
    pieces = order()
    hand = Hand(plan(pieces, as_listed=True).stops)
    hand.progress.apply(Event(new_id(), Kind.STOCKED, data=stocked(pieces, spare=50)))
    before = dict(hand.progress.stock.used)
    for name, shift in keys:
        hand.at += 20.0
        hand.give(Tick(hand.at))
        hand.give(Key(name, shift=shift, at=hand.at, text=name if len(name) == 1 else ""))
        if hand.state.over:
            break
    pressed = hand.progress.pressed()
    used = sum(hand.progress.stock.used.values()) - sum(before.values())
    assert used >= pressed
    hand.state = type(hand.state)()
    if hand.progress.paused:
        hand.press("p")
    for _ in range(200):
        hand.press("u")
    assert sum(hand.progress.stock.used.values()) == 0
