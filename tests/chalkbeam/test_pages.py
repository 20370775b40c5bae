"""Rows read from a SQLite file's pages, against SQLite itself."""

import random
import sqlite3

import pytest

from chalkbeam.runs.pages import Holds, breaks_off, rows


def table_rows(file, log=b"", columns=3):
    found = (row for row in rows(file, log) if row.holds is Holds.TABLE)
    return {(row.rowid, *row.values[1:]) for row in found if len(row.values) == columns}


@pytest.fixture(params=[512, 4096, 65536])
def filled(request, tmp_path):
    """A database of rows of all kinds and lengths, and what SQLite says is in it."""
    chance = random.Random(request.param)
    path = tmp_path / "some.db"
    with sqlite3.connect(path) as raw:
        raw.execute(f"PRAGMA page_size = {request.param}")
        raw.execute("CREATE TABLE some (seq INTEGER PRIMARY KEY, text TEXT, value)")
        raw.execute("CREATE INDEX by_text ON some (text)")
        values = [
            0, 1, -1, 127, -129, 40_000, 9_000_000, 2**40, -(2**50), 2**62, 1.5, None,
            b"\x00\xff", "漢字", "",
        ]  # fmt: skip
        for seq in range(1, 1200):
            text = "ø" * chance.choice((1, 40, 300, 700, 5000))
            raw.execute("INSERT INTO some VALUES (?, ?, ?)", (seq, text, chance.choice(values)))
    known = set(raw.execute("SELECT seq, text, value FROM some"))
    raw.close()
    return path, known


def test_every_row_of_a_sound_file_is_read_as_sqlite_reads_it(filled):
    path, known = filled
    assert len(known) == 1199
    assert table_rows(path.read_bytes()) == known


def test_the_index_says_which_rows_there_were(filled):
    path, known = filled
    found = (row for row in rows(path.read_bytes()) if row.holds is not Holds.TABLE)
    assert {row.values for row in found} == {(text, seq) for seq, text, _ in known}


def test_a_spoiled_page_costs_its_own_rows_alone(filled):
    path, known = filled
    raw = bytearray(path.read_bytes())
    size = 65536 if raw[16:18] == b"\x00\x01" else int.from_bytes(raw[16:18], "big")
    chance = random.Random(1)
    for _ in range(3):
        at = chance.randrange(1, len(raw) // size) * size
        raw[at : at + size] = chance.randbytes(size)
    found = table_rows(bytes(raw))
    # A row may run on over several pages; none is read that was not there.
    assert found <= known
    assert len(known - found) <= 3 * size // 100


@pytest.mark.parametrize("filled", [4096], indirect=True)  # what SQLite makes unasked
def test_the_head_of_the_file_is_not_needed(filled):
    path, known = filled
    raw = bytearray(path.read_bytes())
    raw[:4096] = bytes(4096)
    assert table_rows(bytes(raw)) == known


def test_the_write_ahead_log_counts_up_to_the_last_commit(tmp_path):
    path, log = tmp_path / "some.db", tmp_path / "some.db-wal"
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("PRAGMA journal_mode = WAL")
    raw.execute("CREATE TABLE some (seq INTEGER PRIMARY KEY, text TEXT, value)")
    raw.execute("INSERT INTO some VALUES (1, 'kept', 1)")
    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.execute("INSERT INTO some VALUES (2, 'logged', 2)")
    committed = log.read_bytes()
    assert table_rows(path.read_bytes()) == {(1, "kept", 1)}
    assert table_rows(path.read_bytes(), committed) == {(1, "kept", 1), (2, "logged", 2)}
    # Cut off within its last transaction, as by a kill, that one does not count.
    assert table_rows(path.read_bytes(), committed[:-1]) == {(1, "kept", 1)}
    raw.close()


def logged(tmp_path, count):
    """Return a database's log after so many commits, byte order as this machine writes it."""
    path = tmp_path / "some.db"
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("PRAGMA journal_mode = WAL")
    raw.execute("CREATE TABLE some (seq INTEGER PRIMARY KEY, text TEXT, value)")
    for seq in range(1, count + 1):
        raw.execute("INSERT INTO some VALUES (?, 'x', 1)", (seq,))
    log = (tmp_path / "some.db-wal").read_bytes()
    file = path.read_bytes()
    raw.close()
    return file, log


def test_a_log_spoiled_in_the_middle_is_told_from_one_cut_off(tmp_path):
    file, log = logged(tmp_path, 30)
    frame = 24 + 4096
    frames = (len(log) - 32) // frame
    assert not breaks_off(log)
    for end in range(0, len(log), 1777):  # cut off anywhere, as by a kill
        assert not breaks_off(log[:end])
    for place in range(frames):
        spoiled = bytearray(log)
        at = 32 + place * frame + 24 + 2000
        spoiled[at : at + 16] = b"spoiled, spoiled"
        # The last commits alone may be what a power cut leaves: nobody was told of them.
        assert breaks_off(bytes(spoiled)) == (place < frames - 2)
        # What SQLite itself makes of it: the rest is dropped without a word.
        (tmp_path / "damaged.db").write_bytes(file)
        (tmp_path / "damaged.db-wal").write_bytes(spoiled)
        raw = sqlite3.connect(tmp_path / "damaged.db")
        try:
            seen = raw.execute("SELECT count(*) FROM some").fetchone()[0]
        except sqlite3.OperationalError:  # not even the table
            seen = 0
        raw.close()
        assert seen < 30
        found = table_rows(file, bytes(spoiled))
        assert len(found) >= 29 or place < 3


def test_noise_is_no_rows():
    chance = random.Random(3)
    for _ in range(40):
        list(rows(chance.randbytes(30_000), chance.randbytes(9_000)))
        assert not breaks_off(chance.randbytes(30_000))
    assert list(rows(b"")) == []
    assert list(rows(b"SQLite format 3\x00", b"\x37\x7f\x06\x82" + bytes(60))) == []
