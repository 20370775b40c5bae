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

from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind
from chalkbeam.orders.place_imprint import artwork_trouble
from chalkbeam.placement.shift import Shift
from chalkbeam.record import conversion, migrations
from chalkbeam.record import journal as journal_module
from chalkbeam.record.events import Event, Kind, Step, new_id
from chalkbeam.record.journal import Journal
from chalkbeam.record.journal_lines import parse_line, read_journal
from chalkbeam.record.migrations import newest
from chalkbeam.record.recorder import Recorder
from chalkbeam.record.rescue import rescue
from chalkbeam.record.runs import event_body
from chalkbeam.record.session import open_session
from chalkbeam.record.sheet_changes import differences, sheet_trouble
from chalkbeam.record.store import Store, journal_of
from tests.support.old_records import old_record
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


def test_two_programs_that_find_one_database_damaged_make_it_anew_once(tmp_path, caplog):
    path = tmp_path / "record.db"
    run, events = worked(path)
    with Store(path) as here, Store(path) as there:
        raw = sqlite3.connect(path)
        raw.execute("DROP TRIGGER lines_update")
        raw.execute("UPDATE lines SET line = replace(line, 'pressed', 'presser')")
        raw.commit()
        raw.close()
        assert here.events(run) == there.events(run) == events
    assert [each.name for each in tmp_path.glob("*.damaged*") if "-wal" not in each.name] == [
        "record.db.damaged"
    ]


# -- earlier versions --------------------------------------------------------------------------


def version(path):
    with sqlite3.connect(path) as raw:
        found = raw.execute("PRAGMA user_version").fetchone()[0]
    raw.close()
    return found


def old(folder, made):
    """Write a record as version `made` did; return its runs and their events."""
    with Store(folder / "new.db") as store:
        runs = []
        for seed in (3, 4):
            run = begin(store, seed=seed, digest=str(seed))
            session = open_session(store, run, operator="Søren")
            session.step(Step.LAY)
            session.press({"x": 1.5, "y": -2.0, "angle": 0.1})
            session.undo()
            runs.append((run, store.events(run)))
    old_record(folder / "old.db", made, runs)
    return runs


@pytest.mark.parametrize("made", [1, 2, 3, 4])
def test_an_older_record_is_brought_up_once_and_kept(tmp_path, caplog, made):
    runs = old(tmp_path, made)
    path = tmp_path / "old.db"
    before = path.read_bytes()
    for _ in range(2):
        with Store(path) as store:
            assert [heading.id for heading in store.runs()] == [run.id for run, _ in runs]
            for run, events in runs:
                assert store.run(run.id) == run
                assert [replace(each, seq=0) for each in store.events(run)] == [
                    replace(each, seq=0) for each in events
                ]
    assert version(path) == newest()
    kept = tmp_path / f"old.db.version-{made}"
    assert kept.read_bytes() == before
    (said,) = caplog.messages  # once
    assert said.endswith(f"is kept as {kept.name}.")
    with Store(path) as store:
        open_session(store, runs[0][0]).press()  # and it is gone on with


def test_an_older_record_killed_while_it_is_brought_up_loses_nothing(tmp_path, monkeypatch):
    runs = old(tmp_path, 4)
    path, chance = tmp_path / "old.db", itertools.count()
    for moment in ("replace", "sync_folder", "_keep_old"):
        with monkeypatch.context() as killed:

            def stop(*_, **__):
                next(chance)
                raise KeyboardInterrupt

            killed.setattr(Path if moment == "replace" else conversion, moment, stop)
            with pytest.raises(KeyboardInterrupt):
                Store(path)
    assert next(chance) == 3
    with Store(path) as store:
        assert [len(store.events(run)) for run, _ in runs] == [4, 4]
    assert (tmp_path / "old.db.version-4").is_file()


@pytest.mark.parametrize("where", ["text", "page", "log"])
def test_an_older_record_that_is_damaged_stays_as_it_is(tmp_path, where):
    old(tmp_path, 4)
    path, log = tmp_path / "old.db", tmp_path / "old.db-wal"
    if where == "log":
        raw = sqlite3.connect(path)
        for number in range(40):  # as a kill leaves it
            raw.execute("INSERT INTO runs VALUES (?, '', '', '', NULL, '', '')", (str(number),))
            raw.commit()
        copies = {each: each.read_bytes() for each in (path, log)}
        raw.close()
        for each, content in copies.items():
            each.write_bytes(content)
        conversion.old_record.what_is_left(path)  # sound, as far as SQLite sees
    file = log if where == "log" else path
    spoiled = bytearray(file.read_bytes())
    if where == "text":
        at = spoiled.index(b'{"x": 1.5')
        spoiled[at + 6] = ord("2")
    else:  # the page that holds that event, of 4 kB as SQLite has them by default
        at = spoiled.index(b'{"x": 1.5') // 4096 * 4096 if where == "page" else len(spoiled) // 3
        spoiled[at : at + 600] = os.urandom(600)
    file.write_bytes(spoiled)
    before = path.read_bytes(), file.read_bytes()
    with pytest.raises(Refusal, match=r"damaged .*it was left as it is.*save what can be read"):
        Store(path)
    assert (path.read_bytes(), file.read_bytes()) == before
    assert not list(tmp_path.glob("old.db.*"))


def test_a_migration_that_fails_leaves_nothing_behind(tmp_path):
    def breaks(connection):
        connection.exec_driver_sql("CREATE TABLE half (x)")
        raise sqlite3.OperationalError("database or disk is full")

    engine = Store(tmp_path / "record.db")._database._engine
    steps = (*migrations.STEPS, breaks)
    with engine.connect() as connection, pytest.raises(sqlite3.OperationalError):
        migrations.migrate(connection, steps)
    with engine.connect() as connection:
        assert "half" not in sa.inspect(connection).get_table_names()
    engine.dispose()
    assert version(tmp_path / "record.db") == newest()


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
    with store._database._engine.connect() as connection:
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
    with store._database._engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA max_page_count = 100000")
    session.note("x" * 400)  # there is room again: the same act goes through, once
    assert len(store.events(run)) == len(before) + 1


def test_files_that_may_grow_no_further_are_a_sentence_and_lose_nothing(store):
    resource = pytest.importorskip("resource")
    session = open_session(store, begin(store))
    store.tidy()
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = len(store.events(session.run))
    confirmed, said = 0, ""
    try:
        most = store.journal.path.stat().st_size + 3000
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, limits[1]))
        for _ in range(20):
            try:
                session.note("x" * 400)
                confirmed += 1
            except Refusal as refusal:
                said = str(refusal)
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert "so the record" in said or "cannot be used" in said
    assert confirmed < 20
    session.note("x" * 400)
    with Store(store.path) as again:
        assert len(again.events(session.run)) == before + confirmed + 1
    assert read_journal(store.journal.path).gaps == ()


def fails_to_commit(connection):
    raise sqlite3.OperationalError("database or disk is full")


def test_what_is_in_the_journal_counts_though_the_database_did_not_take_it_in(store):
    session = open_session(store, begin(store))
    engine = store._database._engine
    sa.event.listen(engine, "commit", fails_to_commit)
    session.step(Step.LAY)  # it is on the disk: the light may change
    with pytest.raises(Refusal, match="The disk is full"):
        session.press()  # but nothing goes on until the database has caught up
    assert session.progress.at.step is Step.LAY
    sa.event.remove(engine, "commit", fails_to_commit)
    session.press()
    kinds = [event.kind for event in store.events(session.run)]
    assert kinds == [Kind.OPENED, Kind.STEPPED, Kind.PRESSED]
    assert [line.number for line in read_journal(store.journal.path).lines] == [1, 2, 3, 4]


def test_killed_between_journal_and_database_an_act_counts(store, tmp_path):
    run = begin(store)
    session = open_session(store, run)
    lost = Event(new_id(), Kind.PRESSED, run.stops[0].imprint.id)
    with Journal(store.journal.path) as killed:
        killed.append(run.id, [event_body(lost)])
    with Store(store.path) as other:
        assert [event.id for event in other.events(run)][1:] == [lost.id]
        assert open_session(other, run).progress.at.index == 1
    with pytest.raises(Refusal, match="Another window"):
        session.step(Step.LAY)


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


def worked(path):
    """Work a run with a few acts; return it and its events."""
    with Store(path) as store:
        run = begin(store, count=12)
        session = open_session(store, run, operator="Marit")
        for _ in range(12):
            session.step(Step.LAY)
            session.press()
        return run, store.events(run)


@pytest.mark.parametrize("where", ["head", "middle", "all", "gone"])
def test_a_damaged_database_is_made_anew_from_the_journal_and_kept(tmp_path, caplog, where):
    path = tmp_path / "record.db"
    run, events = worked(path)
    damaged = bytearray(path.read_bytes())
    span = {"head": (0, 4096), "middle": (8192, 4096), "all": (0, len(damaged))}.get(where)
    if span is None:
        path.unlink()
    else:
        damaged[span[0] : span[0] + span[1]] = os.urandom(span[1])
        path.write_bytes(damaged)
    with Store(path) as store:
        assert (store.latest(), store.events(run)) == (run, events)
        open_session(store, run).press()
    if where != "gone":
        assert (tmp_path / "record.db.damaged").read_bytes() == damaged
        assert "made anew from its journal; nothing is lost" in caplog.text


def test_one_flipped_bit_in_the_database_does_no_harm(tmp_path):
    """In an index or a text, too: what is read of a record is what was written."""
    path = tmp_path / "record.db"
    run, truth = worked(path)
    whole, journal = path.read_bytes(), journal_of(path).read_bytes()
    chance = random.Random(17)
    made_anew = 0
    for _ in range(100):
        spoiled = bytearray(whole)
        spoiled[chance.randrange(len(whole))] ^= 1 << chance.randrange(8)
        path.write_bytes(spoiled)
        with Store(path) as store:
            assert store.latest() == run
            assert store.events(run) == truth
        assert journal_of(path).read_bytes() == journal
        kept = path.with_name("record.db.damaged")
        if kept.exists():
            made_anew += 1
            kept.unlink()
    assert 15 < made_anew < 100


def test_what_the_journal_lost_at_its_end_is_written_into_it_again(tmp_path, caplog):
    path = tmp_path / "record.db"
    run, events = worked(path)
    whole = journal_of(path).read_bytes()
    for left in (0, 1, len(whole) // 2, len(whole) - 1, None):
        caplog.clear()
        if left is None:
            journal_of(path).unlink()
        else:
            journal_of(path).write_bytes(whole[:left])
        with Store(path) as store:
            assert store.events(run) == events
        assert list(read_journal(journal_of(path)).lines) == lines_of(whole)
        assert "lacked what the record holds" in caplog.text


def lines_of(journal):
    return [parse_line(text) for text in journal.split(b"\n")[:-1]]


def test_where_neither_has_an_act_it_is_refused_and_said_which(tmp_path):
    path = tmp_path / "record.db"
    worked(path)
    texts = journal_of(path).read_bytes().split(b"\n")
    texts[7:9] = [b"spoiled", b""]
    spoiled = b"\n".join(texts)
    journal_of(path).write_bytes(spoiled)
    with Store(path) as store:  # the database has them
        assert len(store.events(store.latest())) == 25
    path.unlink()
    with pytest.raises(Refusal, match=r"damaged: it lacks acts 8 to 9, which .*save what can"):
        Store(path)
    assert journal_of(path).read_bytes() == spoiled


def test_a_journal_damaged_in_its_middle_is_written_anew(tmp_path, caplog):
    path = tmp_path / "record.db"
    run, events = worked(path)
    whole = journal_of(path).read_bytes()
    spoiled = whole.replace(b'"pressed"', b'"presser"', 5)
    journal_of(path).write_bytes(spoiled)
    with Store(path) as store:
        store.look_through()
        assert journal_of(path).read_bytes() == whole
        assert store.events(run) == events
        open_session(store, run)
        store.look_through()
        assert len(store.events(run)) == len(events) + 1
    (said,) = caplog.messages
    assert "was damaged (act 4, act 6, act 8 and more)" in said
    assert (tmp_path / "record.db.journal.damaged").read_bytes() == spoiled
    # Where the database has not got them either, it stays, and it is told.
    rescue(path, tmp_path / "new.db")
    lines = journal_of(tmp_path / "new.db").read_bytes().split(b"\n")
    journal_of(tmp_path / "new.db").write_bytes(b"\n".join(lines[:3] + lines[4:]))
    with Store(tmp_path / "new.db") as store:
        raw = store._database._engine.raw_connection()
        raw.execute("DROP TRIGGER lines_delete")
        raw.execute("DELETE FROM lines WHERE number = 4")
        raw.commit()
        raw.close()
        with pytest.raises(Refusal, match="it lacks act 4, which the record has not got"):
            store.look_through()


def test_a_journal_and_a_database_of_two_records_are_told_apart(tmp_path):
    one, other = tmp_path / "one.db", tmp_path / "other.db"
    worked(one)
    worked(other)
    whole = journal_of(one).read_bytes()
    journal_of(one).write_bytes(journal_of(other).read_bytes())
    with pytest.raises(Refusal, match="do not belong together"):
        Store(one)
    journal_of(one).write_bytes(whole)
    with Store(one) as store:  # gone on with from an older copy, which is another story
        copy = one.read_bytes()
        open_session(store, store.latest())
    later = journal_of(one).read_bytes()
    journal_of(one).write_bytes(whole)
    one.write_bytes(copy)
    with Store(one) as store:
        open_session(store, store.latest())
    journal_of(one).write_bytes(later)
    with pytest.raises(Refusal, match="move the record's file away"):
        Store(one)
    one.unlink()
    with Store(one) as store:
        assert len(store.events(store.latest())) == 26


def test_a_torn_end_is_told_once_and_counts_for_nothing(tmp_path, caplog):
    path = tmp_path / "record.db"
    run, events = worked(path)
    with journal_of(path).open("ab") as file:
        file.write(b"0123456789abcdef {")
    with Store(path) as store:
        assert store.events(run) == events
        assert "It had not been confirmed" in caplog.text
        open_session(store, run)
    caplog.clear()
    with Store(path) as store:
        assert len(store.events(run)) == len(events) + 1
    assert not caplog.messages


def test_a_file_that_is_no_record_is_left_alone(tmp_path):
    path = tmp_path / "sheet.csv"
    path.write_bytes(b"Style,Size\n" * 500)
    with pytest.raises(Refusal, match="not a database"):
        Store(path)
    assert [each.name for each in tmp_path.iterdir()] == ["sheet.csv"]
    assert path.read_bytes() == b"Style,Size\n" * 500


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may write")
def test_a_folder_that_may_not_be_written_is_a_sentence(tmp_path):
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(Refusal, match=r"may not be written|cannot be used"):
            Store(tmp_path / "record.db")
    finally:
        tmp_path.chmod(0o700)


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
    journal_of(tmp_path / "other.db").mkdir()
    with pytest.raises(Refusal):
        Store(tmp_path / "other.db")


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
