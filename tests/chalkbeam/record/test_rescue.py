"""What is saved of a damaged record: every act that its journal or its database still says."""

import random
import shutil
import sqlite3
from contextlib import closing

import pytest

from calibration.refusal import Refusal
from chalkbeam.orders.order_of_work import plan
from chalkbeam.placement.shift import Shift
from chalkbeam.record import journal as journal_module
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.journal_lines import parse_line, read_journal
from chalkbeam.record.migrations import newest
from chalkbeam.record.recorder import Recorder
from chalkbeam.record.rescue import Gap, rescue
from chalkbeam.record.runs import LOST
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store, journal_of
from chalkbeam.record.summary import summarise
from tests.support.old_records import old_record
from tests.support.random_orders import begin, random_order
from tests.support.run_cli import run_program


def record(path, notes=300):
    with Store(path) as store:
        run = store.begin(plan(random_order(1, 30)), title="t", sheet=path, digest="")
        recorder = Recorder(store, run)
        for number in range(notes):
            recorder.write(Kind.NOTED, text=f"{number} " + "x" * 300)
        return run


@pytest.fixture(scope="module")
def long_record(tmp_path_factory):
    """A record of two runs and some 1,300 events, written without waiting for the disk."""
    path = tmp_path_factory.mktemp("record") / "record.db"
    with pytest.MonkeyPatch.context() as patch, Store(path) as store:
        patch.setattr(journal_module, "_sync", lambda file: None)
        for seed, count in ((1, 60), (2, 300)):
            planned = plan(random_order(seed, count), as_listed=True)
            run = store.begin(planned, title=f"order {seed}", sheet=path, digest=str(seed))
            session = open_session(store, run, operator="Marit", rig="press 1")
            while (session.progress.at.index or 0) < min(len(run.stops) - 1, 400):
                session.step(Step.LAY)
                session.keep_for_batch(Shift(0.1, 0.0))
                session.press({"x": 1.0, "y": 2.0, "angle": 0.0})
    return path


def copied(path, folder, *, database=True):
    shutil.copyfile(journal_of(path), folder / "record.db.journal")
    if database:
        shutil.copyfile(path, folder / "record.db")
    return folder / "record.db"


@pytest.mark.parametrize(("spoiled", "seed"), [(1, 1), (3, 2), (30, 3), (200, 4)])
def test_what_the_journal_alone_lost_is_counted_and_the_rest_is_saved(
    long_record, tmp_path, spoiled, seed
):
    path = copied(long_record, tmp_path, database=False)
    known = {line.number: line for line in read_journal(journal_of(path)).lines}
    assert len(known) > 1200
    raw, chance = bytearray(journal_of(path).read_bytes()), random.Random(seed)
    for place in chance.sample(range(len(raw)), spoiled):
        raw[place : place + 40] = chance.randbytes(40)
    journal_of(path).write_bytes(raw)
    saved = rescue(path, tmp_path / "new.db")
    found = {
        line.number: line
        for line in read_journal(journal_of(tmp_path / "new.db")).lines
        if line.body["kind"] != LOST and line.body.get("title") != "rescued"
    }
    # What is saved is as it was; what is not is named, and is no more than the spoiled groups.
    assert all(known[number] == line for number, line in found.items())
    missing = {number for gap in saved.gaps for number in range(gap.first, gap.last + 1)}
    assert missing == {n for n in known if n <= max(found)} - set(found)
    assert saved.sure == ("" if max(found) == max(known) else "at least ")
    assert 1 <= saved.lost == len(missing) <= 5 * spoiled
    with Store(tmp_path / "new.db") as store:
        for heading in store.runs():
            run = store.run(heading.id)
            summarise(run, store.events(run))
            if heading.id not in saved.orphans:
                again = open_session(store, run)  # the run can be gone on with
                assert again.progress.pressed() > 20
    assert read_journal(journal_of(tmp_path / "new.db")).gaps == ()


def test_what_the_journal_lost_is_taken_from_the_database(long_record, tmp_path):
    path = copied(long_record, tmp_path)
    raw, chance = bytearray(journal_of(path).read_bytes()), random.Random(7)
    for place in chance.sample(range(len(raw)), 60):
        raw[place] ^= 0x11
    raw = raw[: len(raw) * 3 // 4]
    journal_of(path).write_bytes(raw)
    before = path.read_bytes()
    saved = rescue(journal_of(path), tmp_path / "new.db")  # the journal may be named, too
    assert (saved.lost, saved.gaps, saved.orphans, saved.sure) == (0, (), (), "")
    known = read_journal(journal_of(long_record)).lines
    assert read_journal(journal_of(tmp_path / "new.db")).lines == known
    assert (path.read_bytes(), journal_of(path).read_bytes()) == (before, raw)
    assert {each.name for each in tmp_path.iterdir()} == {
        "record.db", "record.db.journal", "new.db", "new.db.journal",
    }  # fmt: skip


def test_without_a_journal_every_row_that_can_be_read_is_saved(long_record, tmp_path):
    path = copied(long_record, tmp_path)
    journal_of(path).unlink()
    known = {line.number: line for line in read_journal(journal_of(long_record)).lines}
    raw = bytearray(path.read_bytes())
    with closing(sqlite3.connect(long_record)) as sound:
        (size,) = sound.execute("PRAGMA page_size").fetchone()
    at = raw.index(b'"keep') if b'"keep' in raw else len(raw) // 2
    page = at // size * size
    raw[page : page + size] = random.Random(3).randbytes(size)
    path.write_bytes(raw)
    saved = rescue(path, tmp_path / "new.db")
    lines = read_journal(journal_of(tmp_path / "new.db")).lines
    found = {line.number: line for line in lines if line.body["kind"] != LOST}
    assert all(known[number] == line for number, line in found.items())
    assert saved.lost == len(known) - len(found) < 40


def test_events_of_a_run_that_is_lost_itself_are_kept(tmp_path, capsys, monkeypatch):
    path = tmp_path / "record.db"
    run = record(path, notes=30)
    path.unlink()
    journal = journal_of(path)
    journal.write_bytes(journal.read_bytes().replace(b'"kind":"begun"', b'"kind":"begin"'))
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
    (tmp_path / "record.db").unlink()
    journal = journal_of(tmp_path / "record.db")
    whole = journal.read_bytes()
    spoiled = whole.replace(b'"150 xxx', b'"15# xxx').replace(b'"151 xxx', b'"15# xxx')
    journal.write_bytes(spoiled)
    with pytest.raises(Refusal, match="it lacks acts 152 to 153"):
        Store(tmp_path / "record.db")
    (tmp_path / "record.db").unlink(missing_ok=True)
    code, out, err = run_program(
        capsys, monkeypatch,
        "sheet", "rescue", tmp_path / "record.db", "--out", tmp_path / "new.db",
    )  # fmt: skip
    assert code == 0
    assert "1 run with 298 events saved" in out
    assert "; 2 acts could not be read" in out
    assert "lost: acts 152 to 153 (after 20" in err
    assert "count the finished garments" in err
    assert journal.read_bytes() == spoiled
    with Store(tmp_path / "new.db") as store:
        texts = [event.data["text"] for event in store.events(run)]
    assert len(texts) == 298
    assert texts[149].startswith("149 x")
    assert texts[150].startswith("152 x")


def test_rescue_of_a_sound_record_loses_nothing(tmp_path):
    record(tmp_path / "record.db", notes=20)
    saved = rescue(tmp_path / "record.db", tmp_path / "new.db")
    assert (saved.runs, saved.events, saved.lost, saved.orphans) == (1, 20, 0, ())
    journals = [journal_of(tmp_path / name) for name in ("record.db", "new.db")]
    assert journals[0].read_bytes() == journals[1].read_bytes()


def test_rescue_refuses_what_it_cannot_do(tmp_path):
    (tmp_path / "noise.db").write_bytes(b"\x55" * 9000)
    with pytest.raises(Refusal, match="Nothing can be read"):
        rescue(tmp_path / "noise.db", tmp_path / "new.db")
    assert {each.name for each in tmp_path.iterdir()} == {"noise.db"}
    with pytest.raises(Refusal, match="no record"):
        rescue(tmp_path / "none.db", tmp_path / "new.db")
    with pytest.raises(Refusal, match="exists already"):
        rescue(tmp_path / "noise.db", tmp_path / "noise.db")


def test_a_newer_record_is_refused_and_a_spoiled_version_mark_is_not(tmp_path):
    path = tmp_path / "record.db"
    record(path, notes=5)
    for mark in (newest() + 1, 100):
        with closing(sqlite3.connect(path)) as raw:
            raw.execute(f"PRAGMA user_version = {mark}")
        with pytest.raises(Refusal, match=rf"of version {mark} .* up to {newest()}: update"):
            rescue(path, tmp_path / "new.db")
        assert not (tmp_path / "new.db").exists()
    spoiled = bytearray(path.read_bytes())
    spoiled[60:64] = b"\x5a\x5a\x5a\x5a"  # file format 1.3: the user version
    path.write_bytes(spoiled)
    assert rescue(path, tmp_path / "new.db").events == 5


def test_spoiled_acts_are_never_saved_as_good_and_lost_ones_are_counted(tmp_path):
    path, fresh = tmp_path / "record.db", tmp_path / "new.db"
    record(path, notes=60)
    journal = journal_of(path)
    known = {line.number: line for line in read_journal(journal).lines}
    files = {each: each.read_bytes() for each in (path, journal)}
    chance = random.Random(5)
    for _ in range(25):
        spoiled = {}
        for file, whole in files.items():
            raw = bytearray(whole[: len(whole) - chance.choice([0, 0, 40, 3000])])
            for _ in range(chance.choice([0, 1, 3, 30])):
                raw[chance.randrange(len(raw))] ^= 1 << chance.randrange(8)
            spoiled[file] = bytes(raw)
            file.write_bytes(raw)
        for made in (fresh, journal_of(fresh)):
            made.unlink(missing_ok=True)
        saved = rescue(path, fresh)
        found = {
            line.number: line
            for line in read_journal(journal_of(fresh)).lines
            if line.body["kind"] != LOST and line.body.get("title") != "rescued"
        }
        assert all(known[number] == line for number, line in found.items())
        lost = len(known) - len(found)
        assert saved.lost <= lost if saved.sure else saved.lost == lost
        assert {file: file.read_bytes() for file in files} == spoiled


@pytest.mark.parametrize("version", [2, 4])
def test_of_a_damaged_older_record_what_can_be_read_is_saved(tmp_path, version):
    with Store(tmp_path / "now.db") as store:
        run = begin(store, count=60)
        recorder = Recorder(store, run)
        for number in range(120):
            recorder.write(Kind.NOTED, text=f"{number} " + "x" * 300)
        events = store.events(run)
    path = tmp_path / "old.db"
    numbered = [(run, [*events])]
    old_record(path, version, numbered)
    raw = bytearray(path.read_bytes())
    at = raw.index(b'"40 xxx') // 4096 * 4096
    raw[at : at + 4096] = random.Random(1).randbytes(4096)
    path.write_bytes(raw)
    with pytest.raises(Refusal, match=r"it was left as it is.*save what can be read"):
        Store(path)
    saved = rescue(path, tmp_path / "new.db")
    assert path.read_bytes() == raw
    assert (saved.runs, saved.orphans, saved.sure) == (1, (), "")
    assert 100 < saved.events == 120 - (saved.lost - 1)  # its numbers began at 2
    known = {event.id: event for event in events}
    with Store(tmp_path / "new.db") as store:
        assert store.run(run.id) == run
        for event in store.events(run):
            assert event.data == known[event.id].data


def test_a_gap_in_words():
    assert str(Gap(3, 3, "", "")) == "act 3"
    said = str(Gap(212, 230, "2026-11-25T10:31:07.250+00:00", "2026-11-25T10:34:00.000+00:00"))
    assert said == "acts 212 to 230 (after 2026-11-25 10:31:07, before 2026-11-25 10:34:00 UTC)"


def test_a_line_of_what_is_lost_says_so(tmp_path):
    record(tmp_path / "record.db", notes=3)
    (tmp_path / "record.db").unlink()
    journal = journal_of(tmp_path / "record.db")
    texts = journal.read_bytes().split(b"\n")
    journal.write_bytes(b"\n".join([texts[0], *texts[2:]]))
    rescue(tmp_path / "record.db", tmp_path / "new.db")
    lines = [parse_line(text) for text in journal_of(tmp_path / "new.db").read_bytes().split(b"\n")]
    assert [line and line.body["kind"] for line in lines] == [
        "begun", "lost", "noted", "noted", None,
    ]  # fmt: skip
