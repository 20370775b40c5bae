"""How long each step took, by a clock that the test turns: sums are worked out by hand."""

from dataclasses import replace

import pytest

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.record.events import Step
from chalkbeam.record.session import open_session
from chalkbeam.record.step_times import Typical, step_times, typical_times
from chalkbeam.record.store import Store
from chalkbeam.record.summary import summarise

COLD = PressSettings("280 F", "10 s", peel="cold", dwell=10.0, cooling="60 s", cooling_wait=60.0)


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "record.db") as opened:
        yield opened


def begin(store, tmp_path, count=2, press=COLD):
    art = Art(ArtKind.FILE, "crest.svg")
    pieces = [
        Piece(f"{row}-1", row, 1, 1, "tee", "M", "navy",
              (Imprint(f"{row}-1/1", "left chest", art, press=press),))
        for row in range(2, count + 2)
    ]  # fmt: skip
    planned = plan(pieces, as_listed=True)
    return store.begin(planned, title="two", sheet=tmp_path / "two.csv", digest="")


def test_every_step_has_its_own_time(store, tmp_path):
    run, now = begin(store, tmp_path), [500.0]
    session = open_session(store, run, clock=lambda: now[0])

    def after(seconds, act, *given, **more):
        now[0] += seconds
        act(*given, **more)

    after(30.0, session.set_press)
    after(12.0, session.step, Step.LAY)
    after(4.0, session.pause)
    after(600.0, session.pause)
    after(5.0, session.step, Step.PRESS)
    after(14.0, session.put_aside, 60.0)
    after(10.0, session.step, Step.LAY)
    after(7.0, session.step, Step.PRESS)
    after(50.0, session.put_aside, 60.0)
    assert session.progress.at.step is Step.PEEL  # the first has cooled for 67 s
    after(3.0, session.press)
    session.close()
    now[0] = 90.0  # another session, on a clock of its own
    later = open_session(store, run, clock=lambda: now[0])
    after(61.0, later.press)
    times = {(t.imprint, t.step): t.seconds for t in step_times(run.stops, store.events(run))}
    assert times == {
        ("2-1/1", "set"): 30.0, ("2-1/1", "load"): 12.0, ("2-1/1", "lay"): 9.0,
        ("2-1/1", "press"): 14.0, ("2-1/1", "peel"): 3.0,
        ("3-1/1", "load"): 10.0, ("3-1/1", "lay"): 7.0, ("3-1/1", "press"): 50.0,
        ("3-1/1", "peel"): 61.0,
    }  # fmt: skip
    found = summarise(run, store.events(run))
    assert found.steps[:3] == (
        Typical("set", 1, 30.0, 30.0), Typical("load", 2, 11.0, 22.0), Typical("lay", 2, 8.0, 16.0)
    )  # fmt: skip
    # Put aside and peeled count for one print: 30 + 12 + 9 + 14, and 3 s at the peel.
    assert [each.seconds for each in found.outcomes] == [68.0, 128.0]


def test_what_was_taken_back_took_its_time_all_the_same(store, tmp_path):
    run, now = begin(store, tmp_path, 1, replace(COLD, temperature="", peel="")), [0.0]
    session = open_session(store, run, clock=lambda: now[0])
    for act in (lambda: session.step(Step.LAY), session.undo, lambda: session.step(Step.LAY)):
        now[0] += 5.0
        act()
    (load, lay) = typical_times(step_times(run.stops, store.events(run)))
    assert (load.total, lay.total) == (10.0, 5.0)
