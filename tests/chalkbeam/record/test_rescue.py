"""What is saved of a damaged record: every row whose page can be read."""

import random
import shutil
import sqlite3
from pathlib import Path

import pytest

from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import plan
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.migrations import STEPS
from chalkbeam.record.recorder import Recorder
from chalkbeam.record.rescue import Gap, rescue
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.record.summary import summarise
from tests.support.random_orders import random_order
from tests.support.run_cli import run_program

PAGE = 4096


def record(path, notes=300):
    with Store(path) as store:
        run = store.begin(plan(random_order(1, 30)), title="t", sheet=path, digest="")
        recorder = Recorder(store, run)
        for number in range(notes):
            recorder.write(Kind.NOTED, text=f"{number} " + "x" * 300)
        return run


@pytest.fixture(scope="module")
def long_record(tmp_path_factory):
    """A record of two runs and 5,000 events, written without waiting for the disk."""
    path = tmp_path_factory.mktemp("record") / "record.db"
    with Store(path) as store:
        raw = store._engine.raw_connection()
        raw.driver_connection.execute("PRAGMA synchronous = OFF")
        raw.close()
        for seed, count in ((1, 100), (2, 1500)):
            planned = plan(random_order(seed, count), as_listed=True)
            run = store.begin(planned, title=f"order {seed}", sheet=path, digest=str(seed))
            session = open_session(store, run, operator="Marit", rig="press 1")
            while (session.progress.at.index or 0) < min(len(run.stops) - 1, 1550):
                session.step(Step.LAY)
                session.nudge(Shift(0.1, 0.0))
                session.press({"x": 1.0, "y": 2.0, "angle": 0.0})
    return path


def spoil(path, pages, seed):
    """Overwrite random pages with noise; return their numbers, from 0."""
    raw = bytearray(path.read_bytes())
    chance = random.Random(seed)
    spoiled = chance.sample(range(len(raw) // PAGE), pages)
    for page in spoiled:
        raw[page * PAGE : (page + 1) * PAGE] = chance.randbytes(PAGE)
    path.write_bytes(raw)
    return spoiled


def events_of(path):
    with sqlite3.connect(path) as raw:
        found = {row[0]: row for row in raw.execute("SELECT * FROM events ORDER BY seq")}
        assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    raw.close()
    return found


@pytest.mark.parametrize(("pages", "seed"), [(1, 1), (3, 2), (10, 3), (40, 4)])
def test_random_pages_spoiled_cost_what_was_on_them(long_record, tmp_path, pages, seed):
    known = events_of(long_record)
    assert len(known) > 4900
    path = tmp_path / "record.db"
    shutil.copyfile(long_record, path)
    spoil(path, pages, seed)
    saved = rescue(path, tmp_path / "new.db")
    found = events_of(tmp_path / "new.db")
    # What is saved is as it was; what is not is named, and is no more than the pages held.
    assert all(known[seq] == row for seq, row in found.items())
    assert saved.events == len(found)
    missing = {seq for gap in saved.gaps for seq in range(gap.first, gap.last + 1)}
    assert missing == set(known) - set(found)
    assert saved.lost == len(missing) <= 25 * pages
    with Store(tmp_path / "new.db") as store:
        for heading in store.runs():
            run = store.run(heading.id)
            summarise(run, store.events(run))
            if heading.id not in saved.orphans:
                again = open_session(store, run)  # the run can be gone on with
                assert again.progress.pressed() > 50


@pytest.mark.parametrize("what", ["head", "order of work", "copies"])
def test_a_run_is_kept_while_one_of_its_two_copies_is_whole(long_record, tmp_path, what):
    path = tmp_path / "record.db"
    raw = bytearray(long_record.read_bytes())
    if what == "head":
        raw[:PAGE] = bytes(PAGE)
    with sqlite3.connect(long_record) as sound:
        name = {"order of work": "runs", "copies": "run_copies"}.get(what)
        root = sound.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (name,))
        if row := root.fetchone():
            raw[(row[0] - 1) * PAGE : row[0] * PAGE] = bytes(PAGE)
        runs = sound.execute("SELECT * FROM runs ORDER BY rowid").fetchall()
        events = sound.execute("SELECT count(*) FROM events").fetchone()[0]
    sound.close()
    path.write_bytes(raw)
    saved = rescue(path, tmp_path / "new.db")
    assert (saved.runs, saved.events, saved.gaps, saved.orphans) == (2, events, (), ())
    with sqlite3.connect(tmp_path / "new.db") as new:
        assert new.execute("SELECT * FROM runs ORDER BY rowid").fetchall() == runs
    new.close()


def test_events_of_a_run_that_is_lost_itself_are_kept(tmp_path, capsys, monkeypatch):
    path = tmp_path / "record.db"
    run = record(path, notes=30)
    with sqlite3.connect(path) as raw:
        raw.execute("PRAGMA foreign_keys = OFF")
        raw.execute("DELETE FROM run_copies")
        raw.execute("DELETE FROM runs")
        raw.execute("PRAGMA secure_delete = ON")
        raw.commit()
        raw.execute("VACUUM")
    raw.close()
    code, out, err = run_program(
        capsys, monkeypatch, "sheet", "rescue", path, "--out", tmp_path / "new.db"
    )
    assert (code, "30 events saved" in out) == (0, True)
    assert f"Of the run {run.id[:8]} only its events" in err
    with Store(tmp_path / "new.db") as store:
        (heading,) = store.runs()
        assert len(store.events(store.run(heading.id))) == 30


def test_rescue_says_what_was_saved_and_what_is_missing(tmp_path, capsys, monkeypatch):
    run = record(tmp_path / "record.db")
    whole = bytearray((tmp_path / "record.db").read_bytes())
    at = whole.find(b"150 xxx") // PAGE * PAGE
    whole[at : at + PAGE] = b"\xaa" * PAGE
    (tmp_path / "record.db").write_bytes(whole)
    with pytest.raises(Refusal, match="damaged"):
        Store(tmp_path / "record.db")
    code, out, err = run_program(
        capsys, monkeypatch,
        "sheet", "rescue", tmp_path / "record.db", "--out", tmp_path / "new.db",
    )  # fmt: skip
    assert code == 0
    assert "1 run with 29" in out
    assert "lost: events 14" in err
    assert "after 20" in err
    assert "count the finished garments" in err
    assert (tmp_path / "record.db").read_bytes() == whole
    with Store(tmp_path / "new.db") as store:
        texts = [event.data["text"] for event in store.events(run)]
        assert 290 <= len(texts) < 300
        assert texts[0].startswith("0 x")
        assert texts[-1].startswith("299 x")


def test_what_a_killed_program_left_in_the_log_is_saved_too(tmp_path):
    path = tmp_path / "record.db"
    with Store(path) as store:
        run = store.begin(plan(random_order(1, 30)), title="t", sheet=path, digest="")
        Recorder(store, run).write(Kind.NOTED, text="in the log")
        (tmp_path / "killed").mkdir()
        for ending in ("", "-wal"):  # as a kill leaves them
            shutil.copyfile(f"{path}{ending}", tmp_path / "killed" / f"record.db{ending}")
    saved = rescue(tmp_path / "killed" / "record.db", tmp_path / "new.db")
    assert (saved.runs, saved.events, saved.lost) == (1, 1, 0)


def test_a_log_spoiled_in_the_middle_is_said_and_saved(tmp_path):
    """SQLite alone would open it and drop what follows, though it was acknowledged."""
    path, killed = tmp_path / "record.db", tmp_path / "killed.db"
    with Store(path) as store:
        run = store.begin(plan(random_order(1, 5)), title="t", sheet=path, digest="")
        recorder = Recorder(store, run)
        for number in range(40):
            recorder.write(Kind.NOTED, text=f"note {number:02}")
        for ending in ("", "-wal"):  # as a kill leaves them
            shutil.copyfile(f"{path}{ending}", f"{killed}{ending}")
    log = bytearray(Path(f"{killed}-wal").read_bytes())
    Store(killed).close()  # sound: it opens, and the log is taken in
    shutil.copyfile(path, killed)
    at = log.find(b"note 20") - 3  # in the page as it was written with that event
    log[at : at + 12] = b"spoiled here"
    shutil.copyfile(path, killed)
    Path(f"{killed}-wal").write_bytes(log)
    with pytest.raises(Refusal, match="its log is spoiled before its end"):
        Store(killed)
    saved = rescue(killed, tmp_path / "new.db")
    assert (saved.runs, saved.orphans) == (1, ())
    assert saved.events == 40


@pytest.mark.parametrize(("first", "last"), [(0, 4), (16, 17), (24, 32), (0, 512)])
def test_a_log_whose_head_is_spoiled_is_said_and_saved(tmp_path, first, last):
    """SQLite alone would take it for empty, and delete it."""
    path, killed = tmp_path / "record.db", tmp_path / "killed.db"
    with Store(path) as store:
        run = store.begin(plan(random_order(1, 5)), title="t", sheet=path, digest="")
        recorder = Recorder(store, run)
        for _ in range(21):
            recorder.write(Kind.NOTED, text="in the log")
        for ending in ("", "-wal"):  # as a kill leaves them
            shutil.copyfile(f"{path}{ending}", f"{killed}{ending}")
    log = bytearray(Path(f"{killed}-wal").read_bytes())
    log[first:last] = bytes(byte ^ 0xFF for byte in log[first:last])
    Path(f"{killed}-wal").write_bytes(log)
    before = killed.read_bytes()
    with pytest.raises(Refusal, match=r"its log is spoiled.*save what can be read"):
        Store(killed)
    assert (killed.read_bytes(), Path(f"{killed}-wal").read_bytes()) == (before, log)
    saved = rescue(killed, tmp_path / "new.db")
    assert (saved.runs, saved.events, saved.lost, saved.orphans) == (1, 21, 0, ())


def test_rescue_of_a_sound_record_loses_nothing(tmp_path):
    record(tmp_path / "record.db", notes=20)
    saved = rescue(tmp_path / "record.db", tmp_path / "new.db")
    assert (saved.runs, saved.events, saved.lost, saved.orphans) == (1, 20, 0, ())
    with (
        sqlite3.connect(tmp_path / "record.db") as old,
        sqlite3.connect(tmp_path / "new.db") as new,
    ):
        for table in ("runs", "events", "run_copies"):
            query = f"SELECT * FROM {table}"
            assert new.execute(query).fetchall() == old.execute(query).fetchall()
    old.close()
    new.close()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["new.db", "record.db"]


def test_rescue_refuses_what_it_cannot_do(tmp_path):
    (tmp_path / "noise.db").write_bytes(b"\x55" * 9000)
    with pytest.raises(Refusal, match="Nothing can be read"):
        rescue(tmp_path / "noise.db", tmp_path / "new.db")
    assert not (tmp_path / "new.db").exists()
    with pytest.raises(Refusal, match="no record"):
        rescue(tmp_path / "none.db", tmp_path / "new.db")
    with pytest.raises(Refusal, match="exists already"):
        rescue(tmp_path / "noise.db", tmp_path / "noise.db")


def test_a_newer_record_is_refused_and_a_spoiled_version_mark_is_not(tmp_path):
    path = tmp_path / "record.db"
    record(path, notes=5)
    for mark in (len(STEPS) + 1, 100):
        with sqlite3.connect(path) as raw:
            raw.execute(f"PRAGMA user_version = {mark}")
        raw.close()
        with pytest.raises(Refusal, match=rf"of version {mark} .* up to {len(STEPS)}: update"):
            rescue(path, tmp_path / "new.db")
        assert not (tmp_path / "new.db").exists()
    spoiled = bytearray(path.read_bytes())
    spoiled[60:64] = b"\x5a\x5a\x5a\x5a"  # file format 1.3: the user version
    path.write_bytes(spoiled)
    assert rescue(path, tmp_path / "new.db").events == 5


def test_one_spoiled_number_does_not_make_up_lost_events(tmp_path):
    path = tmp_path / "record.db"
    record(path, notes=20)
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE sqlite_sequence SET seq = 1 << 40 WHERE name = 'events'")
    raw.close()
    saved = rescue(path, tmp_path / "new.db")
    assert (saved.events, saved.gaps) == (20, ())
    # A number that can be is believed: the last events may be gone with their page.
    with sqlite3.connect(path) as raw:
        raw.execute("UPDATE sqlite_sequence SET seq = 23 WHERE name = 'events'")
    raw.close()
    (gap,) = rescue(path, tmp_path / "again.db").gaps
    assert (gap.first, gap.last) == (21, 23)


def test_spoiled_events_are_never_saved_as_good_and_lost_ones_are_counted(tmp_path):
    path, fresh = tmp_path / "record.db", tmp_path / "new.db"
    record(path, notes=60)
    known = events_of(path)
    whole = path.read_bytes()
    chance = random.Random(5)
    for _ in range(40):
        spoiled = bytearray(whole[: len(whole) - PAGE * chance.choice([0, 0, 1, 3])])
        for _ in range(chance.choice([1, 3, 30])):
            spoiled[chance.randrange(len(spoiled))] ^= 1 << chance.randrange(8)
        path.write_bytes(spoiled)
        fresh.unlink(missing_ok=True)
        saved = rescue(path, fresh)
        found = events_of(fresh)
        assert all(known[seq] == row for seq, row in found.items())
        lost = len(known) - len(found)
        told = {
            "": saved.lost == lost,
            "at least ": saved.lost <= lost,
            "up to ": saved.lost >= lost,
        }
        assert told[saved.sure]
        assert path.read_bytes() == spoiled


def test_a_gap_in_words():
    assert str(Gap(3, 3, "", "")) == "event 3"
    said = str(Gap(212, 230, "2026-11-25T10:31:07.250+00:00", "2026-11-25T10:34:00.000+00:00"))
    assert said == "events 212 to 230 (after 2026-11-25 10:31:07, before 2026-11-25 10:34:00 UTC)"
