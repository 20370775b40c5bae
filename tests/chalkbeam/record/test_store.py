"""The record: append-only, durable, counted once, by any number of windows."""

import itertools
import json
import os
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import plan
from chalkbeam.placement.shift import Shift
from chalkbeam.record import journal as journal_module
from chalkbeam.record.events import Kind, Step, new_id
from chalkbeam.record.recorder import Recorder
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from tests.support.random_orders import begin, random_order

ROOT = Path(__file__).parents[3]


def test_a_run_comes_back_as_planned(store):
    planned = plan(random_order(4, 25))
    # Backwards, as no order is planned: a run keeps the order that it was begun in.
    planned = replace(planned, stops=planned.stops[::-1])
    run = store.begin(planned, title="Regatta", sheet=Path("order.csv"), digest="d")
    again = store.run(run.id[:6])
    assert again == run
    assert again.stops == planned.stops
    assert again.by_hand == pytest.approx(planned.by_hand)
    assert [heading.title for heading in store.runs()] == ["Regatta"]
    assert store.latest("d") == run
    assert store.latest("e") is None


def test_unknown_and_ambiguous_runs(store):
    begin(store)
    begin(store)
    for name in ("", "zz"):
        with pytest.raises(Refusal, match="list the runs"):
            store.run(name)


def test_an_act_is_on_the_disk_before_it_is_said(store, monkeypatch):
    synced = []
    monkeypatch.setattr(journal_module, "_sync", lambda file: synced.append(os.fstat(file).st_size))
    session = open_session(store, begin(store))
    for act in (lambda: session.step(Step.LAY), lambda: session.keep_for_batch(Shift(2.0, 1.0))):
        synced.clear()
        act()
        # Once, with all that it wrote: two events at one key wait for the disk once.
        assert synced == [store.journal.path.stat().st_size]
    with store._database._engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 1  # NORMAL


def test_tidied_in_time_no_event_waits_for_the_log_to_be_carried_over(store):
    session = open_session(store, begin(store))
    log = store.path.with_name(store.path.name + "-wal")
    for _ in range(12):
        for _ in range(40):
            session.step(Step.LAY)
        session.tidy()
    # SQLite carries a log over by itself at 1000 pages of 4096 bytes (its documentation of
    # PRAGMA wal_autocheckpoint); an event takes a few pages.
    assert log.stat().st_size < 1000 * 4096
    with sqlite3.connect(f"file:{store.path}?immutable=1", uri=True) as without_log:
        (count,) = without_log.execute("select count(*) from lines").fetchone()
    without_log.close()
    assert count == 12 * 40 + 2  # with the run's beginning and the session's
    session.step(Step.LAY)
    store.close()
    session.tidy()  # what stands in the way is told by the next event


def test_an_event_holds_who_where_and_when(store):
    run = begin(store)
    ticks, dates = itertools.count(100.0, 2.5), iter(["2026-11-25T10:00:00", "2020-01-01T00:00:00"])
    recorder = Recorder(
        store, run, operator="Marit", rig="press 1", calibration="c7",
        clock=lambda: next(ticks), wall=lambda: next(dates),
    )  # fmt: skip
    imprint = run.stops[0].imprint.id
    recorder.write(Kind.STEPPED, imprint, Step.LAY)
    recorder.write(Kind.PRESSED, imprint, pose={"x": 1.5, "y": -2.0, "angle": 0.0})
    first, second = store.events(run)
    assert (first.kind, first.step, first.operator) == (Kind.STEPPED, Step.LAY, "Marit")
    assert (second.rig, second.calibration, second.clock) == ("press 1", "c7", 102.5)
    assert second.data["pose"] == {"x": 1.5, "y": -2.0, "angle": 0.0}
    # The computer's date was set back in between: the sequence still says what came first.
    assert second.wall < first.wall
    assert second.seq > first.seq


def test_the_same_event_is_written_once(store):
    run = begin(store)
    recorder = Recorder(store, run)
    event_id = new_id()
    imprint = run.stops[0].imprint.id
    first = recorder.write(Kind.PRESSED, imprint, event_id=event_id)
    again = recorder.write(Kind.PRESSED, imprint, event_id=event_id)
    assert again == first
    assert len(store.events(run)) == 1


def test_events_cannot_be_changed_or_dropped(store):
    run = begin(store)
    Recorder(store, run).write(Kind.NOTED, text="as it was")
    with sqlite3.connect(store.path) as raw:
        for act in ("UPDATE lines SET line = ''", "DELETE FROM lines"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added"):
                raw.execute(act)
    raw.close()


def test_two_windows_on_one_run(store):
    run = begin(store)
    here, there = Recorder(store, run), Recorder(store, run)
    here.write(Kind.OPENED)
    with pytest.raises(Refusal, match="Another window"):
        there.write(Kind.PRESSED, run.stops[0].imprint.id)
    assert len(store.events(run)) == 1


def test_who_reads_a_long_order_holds_no_key_up(store):
    session = open_session(store, begin(store))
    with Store(store.path) as page, page._database.looked_at() as work:
        before = work.events(session.run.id)
        session.step(Step.LAY)
        assert work.events(session.run.id) == before  # as it stood
    assert len(store.events(session.run)) == len(before) + 1


def test_two_windows_that_begin_one_sheet_make_one_run(store):
    planned = plan(random_order(4, 5))
    named = {"title": "t", "sheet": Path("order.csv"), "digest": "d"}
    first = store.begin(planned, **named, newest=None)
    with pytest.raises(Refusal, match="has begun a run of this sheet just now"):
        store.begin(planned, **named, newest=None)
    assert [heading.id for heading in store.runs()] == [first.id]
    second = store.begin(planned, **named, newest=first.id)  # a new run, asked for
    assert store.latest("d") == second


def test_what_is_moved_for_the_batch_is_written_whole_or_not_at_all(store, monkeypatch):
    session = open_session(store, begin(store))
    session.step(Step.LAY)
    session.nudge(Shift(2.0, 1.0))
    before, said = store.events(session.run), session.progress.nudge(0)

    def full(file):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as disk:
        disk.setattr(journal_module, "_sync", full)
        with pytest.raises(Refusal, match="The disk is full"):
            session.keep_for_batch(Shift(2.0, 1.0))
    assert (store.events(session.run), session.progress.nudge(0)) == (before, said)
    session.keep_for_batch(Shift(2.0, 1.0))
    assert len(store.events(session.run)) == len(before) + 2
    assert session.progress.nudge(0) == said


def test_a_folder_with_an_awkward_name(tmp_path):
    question = "" if os.name == "nt" else "?"
    path = tmp_path / f"Søren's #1 50% press{question} & co" / "record.db"
    with Store(path) as store:
        begin(store)
    assert path.is_file()
    assert [item.name for item in tmp_path.iterdir()] == [path.parent.name]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the kills need fork")
def test_nothing_said_is_lost_and_nothing_doubled_by_fifteen_kills():
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.kills", "15", "1"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    toll = json.loads(done.stdout)
    assert toll["kills"] == 15
    assert toll["intact"]
    wrong = ("lost", "doubled", "forgotten", "gaps", "unlike")
    assert [toll[each] for each in wrong] == [0] * len(wrong)
    assert toll["unsaid"] <= 30  # of each kill one key, which may do two things
