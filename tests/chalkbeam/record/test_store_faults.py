"""The record under faults: a sentence each, and nothing that was said is lost."""

import os
import random
import sqlite3

import pytest
import sqlalchemy as sa

from calibration.refusal import Refusal
from chalkbeam.record.events import Event, Kind, Step, new_id
from chalkbeam.record.journal import Journal
from chalkbeam.record.journal_lines import parse_line, read_journal
from chalkbeam.record.recorder import Recorder
from chalkbeam.record.rescue import rescue
from chalkbeam.record.runs import event_body
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store, journal_of
from tests.support.random_orders import begin


def fails_to_commit(connection):
    raise sqlite3.OperationalError("database or disk is full")


def worked(path):
    """Work a run with a few acts; return it and its events."""
    with Store(path) as store:
        run = begin(store, count=12)
        session = open_session(store, run, operator="Marit")
        for _ in range(12):
            session.step(Step.LAY)
            session.press()
        return run, store.events(run)


def lines_of(journal):
    return [parse_line(text) for text in journal.split(b"\n")[:-1]]


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


def test_a_program_that_died_while_it_made_the_file_does_no_harm(tmp_path):
    """What it had begun is taken back by its own rollback journal, which who only reads cannot."""
    dying = sqlite3.connect(tmp_path / "dying.db", isolation_level=None)
    dying.execute("PRAGMA cache_spill=1")
    dying.execute("PRAGMA cache_size=1")
    dying.execute("BEGIN IMMEDIATE")
    dying.execute("CREATE TABLE half (made TEXT)")
    dying.executemany("INSERT INTO half VALUES (?)", [("x" * 3000,)] * 50)  # more than it holds
    path = tmp_path / "record.db"
    for end in ("", "-journal"):
        path.with_name(path.name + end).write_bytes((tmp_path / f"dying.db{end}").read_bytes())
    dying.close()
    looks = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
    with pytest.raises(sqlite3.OperationalError, match="readonly"):
        looks.execute("PRAGMA integrity_check")
    looks.close()
    with Store(path) as opened:
        run = begin(opened, 4)
        assert opened.run(run.id) == run
