"""Where a run stands: its events folded, in one go or step by step."""

from dataclasses import replace
from pathlib import Path

import pytest

from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import plan
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Event, Kind, Step, in_force
from chalkbeam.record.progress import At, Outcome, Progress
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from tests.support.random_orders import begin, random_order


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "record.db") as opened:
        yield opened


def test_a_run_from_beginning_to_end(store):
    run = begin(store)
    session = open_session(store, run)
    seen = []
    while (stop := session.progress.stop) is not None:
        seen.append(stop.imprint.id)
        session.step(Step.LAY)
        session.step(Step.PRESS)
        session.press()
    assert seen == [stop.imprint.id for stop in run.stops]
    assert session.progress.pressed() == len(run.stops)
    assert session.progress.seconds_left() == 0
    with pytest.raises(Refusal, match="finished"):
        session.press()


def test_work_goes_on_at_the_same_piece_and_step(store):
    run = begin(store)
    session = open_session(store, run)
    session.press()
    session.step(Step.LAY)
    session.nudge(Shift(1.0, -0.5))
    session.pause()
    again = open_session(store, run)
    assert again.progress.at == At(1, Step.LAY)
    assert again.progress.nudge(1) == Shift(1.0, -0.5)
    assert again.progress.outcomes == {run.stops[0].imprint.id: Outcome.PRESSED}
    assert not again.progress.paused


def test_undo_and_redo_are_events_too(store):
    run = begin(store)
    session = open_session(store, run)
    session.step(Step.LAY)
    session.nudge(Shift(2.0))
    session.press()
    assert session.undo()
    assert session.progress.at == At(0, Step.LAY)
    assert session.undo()
    assert session.progress.nudge(0) == Shift()
    assert session.redo()
    assert session.redo()
    assert not session.redo()
    assert session.progress.pressed() == 1
    session.undo()
    session.skip("sheet torn")  # a new act: nothing is left to redo
    assert not session.redo()
    kinds = [event.kind for event in in_force(store.events(run))]
    assert kinds == [Kind.OPENED, Kind.STEPPED, Kind.NUDGED, Kind.SKIPPED]
    # All of it can be taken back, also after the program was left.
    later = open_session(store, run)
    while later.undo():
        pass
    assert later.progress.at == At(0, Step.LOAD)
    assert later.progress.outcomes == {}


def anything(session, turn):
    """Do one of every act in turn."""
    acts = (
        lambda: session.step(Step.LAY),
        lambda: session.nudge(Shift(0.1 * turn, 0.2), rest_of_batch=turn % 2 == 0),
        lambda: session.press(),
        lambda: session.undo(),
        lambda: session.collar(Shift(turn, 0.0, 0.01), rest_of_batch=turn % 3 == 0),
        lambda: session.redo(),
        lambda: session.spoil("scorched", replaced=turn % 2 == 1),
        lambda: session.undo(),
        lambda: session.jump((7 * turn) % len(session.run.stops)),
        lambda: session.preset("nape"),
    )
    acts[(turn * 7) % len(acts)]()


def test_folding_in_one_go_or_step_by_step_is_the_same(store):
    run = begin(store, count=12)
    session = open_session(store, run)
    for turn in range(40):
        anything(session, turn)
    live, folded = session.progress, Progress(run.stops, store.events(run))
    for index in range(len(run.stops)):
        assert live.nudge(index) == folded.nudge(index)
        assert live.collar(index) == folded.collar(index)
        assert live.location(index) == folded.location(index)
    assert (live.at, live.outcomes, live.spoiled_pieces) == (
        folded.at,
        folded.outcomes,
        folded.spoiled_pieces,
    )
    # What is in force, folded without any undo, gives the same state.
    direct = Progress(run.stops, in_force(store.events(run)))
    assert (direct.at, direct.outcomes) == (live.at, live.outcomes)


def test_a_batch_nudge_holds_from_here_on_and_leaves_what_is_pressed(store):
    pieces = [replace(p, style="tee") for p in random_order(1, 5, artworks=1, most=1, lettering=0)]
    imprints = [replace(p.imprints[0], location="nape", platen="", pad="") for p in pieces]
    pieces = [replace(p, imprints=(i,)) for p, i in zip(pieces, imprints, strict=True)]
    run = store.begin(plan(pieces), title="t", sheet=Path("s"), digest="")
    session = open_session(store, run)
    session.press()
    session.nudge(Shift(1.0), rest_of_batch=True)
    session.nudge(Shift(0.25))
    session.press()
    progress = session.progress
    assert [progress.nudge(i).x for i in range(4)] == [0.0, 1.25, 1.0, 1.0]
    assert progress.carried(1) == Shift(1.0)


def test_spoiled_and_replaced_is_done_again(store):
    run = begin(store, count=8)
    session = open_session(store, run)
    several = next(p.piece for p in run.stops if len(p.piece.imprints) > 1)
    places = [i for i, stop in enumerate(run.stops) if stop.piece == several]
    session.jump(places[0])
    session.press()
    session.jump(places[1])
    session.spoil("scorched", replaced=True)
    assert session.progress.at == At(places[1], Step.LOAD)
    assert session.progress.outcomes == {}
    assert session.progress.spoiled_pieces == {several.id: 1}
    session.spoil("scorched", replaced=False)
    assert {session.progress.outcomes[run.stops[i].imprint.id] for i in places} == {Outcome.SPOILED}


def test_jumping_comes_back_to_what_was_left(store):
    run = begin(store)
    session = open_session(store, run)
    last = len(run.stops) - 1
    session.jump(last)
    session.press()
    assert session.progress.at.index == 0


def test_a_barcode_finds_the_piece(store):
    run = begin(store, count=8)
    session = open_session(store, run)
    piece = run.stops[0].piece
    assert run.stops[session.progress.find(f" {piece.id}\n")].piece == piece
    assert session.progress.find(run.stops[3].imprint.id) == 3
    assert session.progress.find("4711") is None


def test_the_number_that_is_shown_finds_the_piece(store):
    run = begin(store, count=8)
    progress = open_session(store, run).progress
    pieces = list(dict.fromkeys(stop.piece.id for stop in run.stops))
    for number, piece in enumerate(pieces, start=1):
        assert run.stops[progress.find(str(number))].piece.id == piece
    assert progress.find("0") is None
    assert progress.find(str(len(pieces) + 1)) is None


# -- a reorder -------------------------------------------------------------------------------


def test_an_order_that_comes_again_brings_its_placements(store):
    run = begin(store)
    session = open_session(store, run)
    while session.progress.stop is not None:
        session.nudge(Shift(float(session.progress.at.index == 0) * 50 + 1.5, 0.5))
        session.press({"x": 3.0, "y": 4.0, "angle": 0.0})
    again = begin(store, earlier=run.id)
    later = open_session(store, again)
    place = len(run.stops) - 1
    assert later.progress.nudge(place) == Shift(1.5, 0.5)
    assert later.earlier[run.stops[place].imprint.id].pose == {"x": 3.0, "y": 4.0, "angle": 0.0}
    other = begin(store, seed=99, count=3, earlier=run.id)
    assert isinstance(open_session(store, other).earlier, dict)


def test_the_fold_ignores_what_is_not_in_the_order():
    stops = plan(random_order(1, 3)).stops
    progress = Progress(stops, [Event("1", Kind.PRESSED, "999-1/1")])
    assert progress.outcomes == {}
