"""An edited order under way: what is pressed is kept, what is new added, what is gone dropped."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chalkbeam.orders.order_of_work import plan
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Event, Kind, new_id
from chalkbeam.record.progress import Outcome, Progress
from chalkbeam.record.reorder import earlier_placements
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.record.taken_over import take_over, unfinished_pieces
from tests.support.random_orders import random_order


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "record.db") as store:
        yield store


def renamed(pieces, by):
    """Return pieces some rows further down."""

    def moved(text):
        row, rest = text.split("-", 1)
        return f"{int(row) + by}-{rest}"

    return [
        replace(
            piece,
            id=moved(piece.id),
            row=piece.row + by,
            imprints=tuple(
                replace(each, id=moved(each.id), follows=each.follows and moved(each.follows))
                for each in piece.imprints
            ),
        )
        for piece in pieces
    ]


def begin(store, pieces, **more):
    return store.begin(plan(pieces), title="o", sheet=Path("o.csv"), digest="", **more)


def test_rows_that_moved_are_kept_and_nothing_is_pressed_twice(store):
    pieces = random_order(3, 8)
    run = begin(store, pieces)
    session = open_session(store, run)
    session.nudge(Shift(1.0))
    for _ in range(5):
        session.press({"x": 1.0, "y": 2.0, "angle": 0.0})
    now = [*random_order(77, 1), *renamed(pieces, 40)]
    found = take_over(run.id, run.stops, store.events(run), now)
    assert found.pressed == 5
    assert found.gone == ()
    again = begin(store, now, earlier=run.id, carried=found.acts)
    later = open_session(store, again).progress
    assert later.pressed() == 5
    assert later.stop.imprint.id not in later.outcomes
    assert later.undoable is None  # what an earlier run did is not taken back here
    assert {event.data["as"] for event in store.events(again) if event.kind is Kind.CARRIED} == {
        event.imprint for event in store.events(run) if event.kind is Kind.PRESSED
    }


def test_a_reorder_of_an_order_that_took_changes_brings_back_what_was_moved_before_them(store):
    pieces = random_order(3, 4, lettering=0)
    run = begin(store, pieces)
    session = open_session(store, run)
    imprint = session.progress.stop.imprint.id
    session.nudge(Shift(2.5))
    session.press({"x": 1.0, "y": 2.0, "angle": 0.0})
    done = take_over(run.id, run.stops, store.events(run), pieces)
    edited = begin(store, pieces, earlier=run.id, carried=done.acts)
    later = open_session(store, edited)
    while later.progress.stop is not None:
        later.press()
    found = earlier_placements(edited.stops, store.events(edited), edited.stops)
    assert found[imprint].pieces == 1
    assert found[imprint].nudge == Shift(2.5)
    assert found[imprint].pose == {"x": 1.0, "y": 2.0, "angle": 0.0}


def test_what_was_pressed_and_is_asked_for_no_more_is_told(store):
    pieces = random_order(3, 4, lettering=0)
    run = begin(store, pieces)
    session = open_session(store, run)
    done = session.progress.stop
    session.press()
    changed = [
        replace(piece, imprints=tuple(replace(each, width=123.0) for each in piece.imprints))
        if piece.id == done.piece.id
        else piece
        for piece in pieces
    ]
    found = take_over(run.id, run.stops, store.events(run), changed)
    assert found.acts == ()
    (gone,) = found.gone
    assert gone.startswith(f"{done.piece.id} ({done.piece.pile}): ")


@given(st.integers(0, 2000), st.integers(0, 30), st.integers(0, 8))
def test_no_press_counts_twice_and_none_is_lost(seed, presses, dropped):
    pieces = random_order(seed, 8, artworks=1, sizes=2)
    stops = plan(pieces).stops
    events = [
        # A fold asks for nothing but these.
        event(stop)
        for stop in stops[:presses]
    ]
    now = renamed(pieces[dropped:], 3)
    found = take_over("r", stops, events, now)
    carried = Counter(act.imprint for act in found.acts)
    assert not carried or max(carried.values()) == 1
    assert len({act.data["as"] for act in found.acts}) == len(found.acts)
    kept = {imprint.id: imprint for piece in now for imprint in piece.imprints}
    before = {stop.imprint.id: stop for stop in stops}
    for act in found.acts:
        was, reads = before[act.data["as"]].imprint, kept[act.imprint]
        assert (was.location, was.art.text) == (reads.location, reads.art.text)
    told = {line.split(" ")[0] for line in found.gone}
    pressed = {event.imprint for event in events}
    assert pressed == {act.data["as"] for act in found.acts} | {
        each for each in pressed if before[each].piece.id in told
    }


def event(stop):
    return Event(new_id(), Kind.PRESSED, stop.imprint.id)


def test_spoiled_and_skipped_pieces_are_found(store):
    run = begin(store, random_order(5, 5, lettering=0))
    session = open_session(store, run)
    spoiled = session.progress.stop.piece.id
    session.spoil("scorched", replaced=False)
    skipped = session.progress.stop.piece.id
    session.skip("later")
    while session.progress.stop is not None:
        session.press()
    events = store.events(run)
    assert set(unfinished_pieces(run.stops, events)) == {spoiled, skipped}
    assert Outcome.SKIPPED in Progress(run.stops, events).outcomes.values()
