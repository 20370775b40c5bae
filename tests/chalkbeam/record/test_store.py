"""The record: append-only, durable, counted once, and a sentence for every fault."""

import itertools
import json
import os
import random
import sqlite3
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa

from calibration.refusal import Refusal, RemedyKind
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind
from chalkbeam.orders.place_imprint import artwork_trouble
from chalkbeam.placement.shift import Shift
from chalkbeam.record import migrations
from chalkbeam.record import store as store_module
from chalkbeam.record.events import Kind, Step, new_id
from chalkbeam.record.migrations import EVENT_COLUMNS, RUN_COLUMNS
from chalkbeam.record.recorder import Recorder
from chalkbeam.record.session import open_session
from chalkbeam.record.sheet_changes import differences, sheet_trouble
from chalkbeam.record.store import Store
from tests.support.random_orders import begin, random_order

ROOT = Path(__file__).parents[3]


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "record.db") as opened:
        yield opened


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


def test_the_file_is_in_wal_mode_with_full_synchronisation(store):
    with store._engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL


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
        (count,) = without_log.execute("select count(*) from events").fetchone()
    without_log.close()
    assert count == 12 * 40 + 1
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
        for act in ("UPDATE events SET data = '{}'", "DELETE FROM events"):
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


# -- migrations ------------------------------------------------------------------------------


def version(path):
    with sqlite3.connect(path) as raw:
        found = raw.execute("PRAGMA user_version").fetchone()[0]
    raw.close()
    return found


def test_an_older_record_is_brought_up(tmp_path):
    path = tmp_path / "old.db"
    with Store(tmp_path / "new.db") as new:
        run = begin(new)
        Recorder(new, run).write(Kind.OPENED)
    engine = sa.create_engine(f"sqlite:///{path}")
    with engine.connect() as connection:
        migrations.migrate(connection, migrations.STEPS[:1])
    with engine.begin() as connection:
        connection.exec_driver_sql(f"ATTACH '{tmp_path / 'new.db'}' AS new")
        for table, names in (("runs", RUN_COLUMNS), ("events", EVENT_COLUMNS)):
            columns = ", ".join(names)
            connection.exec_driver_sql(f"INSERT INTO {table} SELECT {columns} FROM new.{table}")
    engine.dispose()
    assert version(path) == 1
    with Store(path) as store:
        assert store.run(run.id) == run
        assert len(store.events(run)) == 1
    assert version(path) == len(migrations.STEPS)
    with sqlite3.connect(path) as raw:
        (copy,) = raw.execute("SELECT packed FROM run_copies").fetchone()
        (work,) = raw.execute("SELECT work FROM runs").fetchone()
    raw.close()
    assert migrations.unpacked(copy)["work"] == work


def test_a_migration_that_fails_leaves_nothing_behind(tmp_path):
    def breaks(connection):
        connection.exec_driver_sql("CREATE TABLE half (x)")
        raise sqlite3.OperationalError("database or disk is full")

    engine = Store(tmp_path / "record.db")._engine
    steps = (*migrations.STEPS, breaks)
    with engine.connect() as connection, pytest.raises(sqlite3.OperationalError):
        migrations.migrate(connection, steps)
    with engine.connect() as connection:
        assert "half" not in sa.inspect(connection).get_table_names()
    engine.dispose()
    assert version(tmp_path / "record.db") == len(migrations.STEPS)


def test_a_record_of_a_newer_program_is_refused(tmp_path):
    Store(tmp_path / "record.db").close()
    with sqlite3.connect(tmp_path / "record.db") as raw:
        raw.execute("PRAGMA user_version = 99")
    raw.close()
    with pytest.raises(Refusal, match="update Chalkbeam"):
        Store(tmp_path / "record.db")


# -- faults ----------------------------------------------------------------------------------


def test_disk_full_is_a_sentence_and_loses_nothing(store):
    run = begin(store)
    session = open_session(store, run)
    # SQLite's own limit on the file's pages gives the same error as a full disk.
    with store._engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
    said = ""
    while not said:
        before = store.events(run)
        try:
            session.note("x" * 400)
        except Refusal as refusal:
            said = str(refusal)
    assert said.startswith("The disk is full")
    assert "\n" not in said
    assert store.events(run) == before
    with store._engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count = 100000")
    session.note("x" * 400)  # there is room again: the same act goes through, once
    assert len(store.events(run)) == len(before) + 1


def test_a_refused_act_changes_nothing_and_is_not_doubled_on_a_second_try(store, monkeypatch):
    run = begin(store)
    session = open_session(store, run)
    real = store.add

    def reaches_the_disk_but_says_it_failed(run, events, after=None):
        real(run, events, after)
        raise Refusal("the wire fell out")

    monkeypatch.setattr(store, "add", reaches_the_disk_but_says_it_failed)
    with pytest.raises(Refusal):
        session.press()
    assert session.progress.at.index == 0
    monkeypatch.undo()
    session.press()
    assert session.progress.at.index == 1
    assert sum(event.kind is Kind.PRESSED for event in store.events(run)) == 1


def test_a_locked_record_is_a_sentence(tmp_path):
    path = tmp_path / "record.db"
    with Store(path, lock_wait=0.05) as store:
        run = begin(store)
        recorder = Recorder(store, run)
        holder = sqlite3.connect(path, isolation_level=None)
        holder.execute("BEGIN IMMEDIATE")
        with pytest.raises(Refusal, match="Another program holds the record"):
            recorder.write(Kind.OPENED)
        holder.execute("ROLLBACK")
        holder.close()
        recorder.write(Kind.OPENED)
        assert len(store.events(run)) == 1


@pytest.mark.parametrize("where", ["head", "middle"])
def test_a_damaged_record_is_kept_and_said(tmp_path, where):
    path = tmp_path / "record.db"
    with Store(path) as store:
        run = begin(store, count=60)
        recorder = Recorder(store, run)
        for _ in range(200):
            recorder.write(Kind.NOTED, text="x" * 200)
    damaged = bytearray(path.read_bytes())
    start = 0 if where == "head" else len(damaged) // 3
    damaged[start : start + 8192] = os.urandom(64) * 128
    path.write_bytes(damaged)
    with pytest.raises(Refusal, match="damaged") as refused:
        Store(path)
    (rescue,) = refused.value.remedies
    assert (rescue.kind, rescue.value) == (RemedyKind.RESCUE, str(path))
    assert path.read_bytes() == damaged


@pytest.mark.parametrize("spoiled", ["work", "data"])
def test_a_spoiled_row_that_sqlite_does_not_see_is_said(tmp_path, spoiled):
    path = tmp_path / "record.db"
    with Store(path) as store:
        run = begin(store)
        Recorder(store, run).write(Kind.NOTED, text="spoil this")
    whole = path.read_bytes()
    text = b'"imprints"' if spoiled == "work" else b'{"text": "spoil'
    assert text in whole
    path.write_bytes(whole.replace(text, b"\x01" * len(text)))
    with Store(path) as store:
        readings = (store.latest, lambda: store.run(run.id), lambda: store.events(run))
        for read in readings[:2] if spoiled == "work" else readings[2:]:
            with pytest.raises(Refusal, match=r"damaged .*save what can be read"):
                read()


def flipped(path, whole, place, bit):
    spoiled = bytearray(whole)
    spoiled[place] ^= 1 << bit
    path.write_bytes(spoiled)
    return bytes(spoiled)


def test_one_flipped_bit_is_told_or_does_no_harm(tmp_path):
    """In an index or a text, too: nothing that is read of a record differs from what was written.

    A damaged record stays as it is, to the byte.
    """
    path = tmp_path / "record.db"
    with Store(path) as store:
        run = begin(store, count=12)
        session = open_session(store, run, operator="Marit")
        for _ in range(12):
            session.step(Step.LAY)
            session.press()
        truth = store.events(run)
    whole = path.read_bytes()
    chance = random.Random(17)
    told = 0
    for _ in range(150):
        spoiled = flipped(path, whole, chance.randrange(len(whole)), chance.randrange(8))
        try:
            with Store(path) as store:
                assert store.latest() == run
                assert store.events(run) == truth
        except Refusal:
            told += 1
            assert path.read_bytes() == spoiled
    assert 50 < told < 150


@pytest.mark.parametrize("act", ["delete", "replace", "delete log"])
def test_a_record_taken_away_under_a_run_is_told_at_the_next_act(tmp_path, act):
    path = tmp_path / "record.db"
    with Store(path) as store:
        session = open_session(store, begin(store))
        session.step(Step.LAY)
        before = session.progress.at
        if act == "replace":
            (tmp_path / "other.db").write_bytes(path.read_bytes())
            (tmp_path / "other.db").replace(path)
        else:
            (path if act == "delete" else path.with_name("record.db-wal")).unlink()
        for _ in range(2):
            with pytest.raises(Refusal, match="was deleted, moved or replaced"):
                session.press()
        assert session.progress.at == before


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
    real, count = store_module._row, itertools.count()

    def breaks_at_the_second(run, event):
        if next(count) == 1:
            raise sqlite3.OperationalError("database or disk is full")
        return real(run, event)

    monkeypatch.setattr(store_module, "_row", breaks_at_the_second)
    with pytest.raises(Refusal, match="The disk is full"):
        session.keep_for_batch(Shift(2.0, 1.0))
    assert (store.events(session.run), session.progress.nudge(0)) == (before, said)
    session.keep_for_batch(Shift(2.0, 1.0))
    assert len(store.events(session.run)) == len(before) + 2
    assert session.progress.nudge(0) == said


def test_what_cannot_be_kept_does_not_make_the_record_damaged(store):
    run = begin(store)
    recorder = Recorder(store, run, operator="Ren\udce9")
    with pytest.raises(Refusal, match="no letters, so that it cannot be kept"):
        recorder.write(Kind.OPENED)
    with pytest.raises(Refusal, match="a number without end"):
        Recorder(store, run).write(Kind.PRESSED, pose={"x": float("inf")})
    assert store.events(run) == []


def test_places_where_no_record_can_be(tmp_path):
    with pytest.raises(Refusal):
        Store(tmp_path)  # a folder
    (tmp_path / "file").write_text("")
    with pytest.raises(Refusal):
        Store(tmp_path / "file" / "record.db")


def test_a_folder_with_an_awkward_name(tmp_path):
    question = "" if os.name == "nt" else "?"
    path = tmp_path / f"Søren's #1 50% press{question} & co" / "record.db"
    with Store(path) as store:
        begin(store)
    assert path.is_file()
    assert [item.name for item in tmp_path.iterdir()] == [path.parent.name]


def test_a_sheet_edited_under_way(store, tmp_path):
    from chalkbeam.basics.spreadsheets import digest_of

    sheet = tmp_path / "order.csv"
    sheet.write_text("a")
    run = begin(store, sheet=sheet, digest=digest_of(sheet))
    assert sheet_trouble(run) is None
    sheet.write_text("b")
    assert "has been edited" in sheet_trouble(run)
    sheet.unlink()
    assert "is gone" in sheet_trouble(run)


def test_an_artwork_file_gone_missing(tmp_path):
    file = tmp_path / "crest.svg"
    file.write_text("")
    art = Art(ArtKind.FILE, "crest.svg", file)
    assert artwork_trouble(art) is None
    file.unlink()
    assert "is missing" in artwork_trouble(art)
    assert artwork_trouble(Art(ArtKind.NAME, "MARIT")) is None


def test_how_two_readings_of_a_sheet_differ():
    before = random_order(1, 5)
    now = [replace(before[0], size="XL"), *before[2:], replace(before[0], id="99-1", row=99)]
    first, second = before[0].pile, before[1].pile
    assert differences(before, now) == (
        f"Row 2: {now[0].pile} instead of {first}.",
        f"Row 3: gone, it was 1 × {second}.",
        f"Row 99: new, 1 × {first}.",
    )
    other = replace(before[0], note="fold", imprints=(replace(before[0].imprints[0], pad="S"),))
    assert differences(before[:1], [other]) == ("Row 2: another note and pad.",)
    assert differences(before, before) == ()


@pytest.mark.skipif(not hasattr(os, "fork"), reason="the kills need fork")
def test_nothing_said_is_lost_and_nothing_doubled_by_fifteen_kills():
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.kills", "15"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    toll = json.loads(done.stdout)
    assert toll["kills"] == 15
    assert toll["intact"]
    assert (toll["lost"], toll["doubled"], toll["gaps"]) == (0, 0, 0)
    assert toll["unsaid"] <= 15
