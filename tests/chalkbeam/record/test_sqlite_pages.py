"""Rows read from a SQLite file's pages, against SQLite itself."""

import random
import sqlite3
import struct

import pytest

from calibration.files import read_whole
from chalkbeam.record import sqlite_pages
from chalkbeam.record.sqlite_pages import Holds, breaks_off, rows, version


def spoiled_in(folder, file, log):
    """Whether a log beside a file is found to be spoiled before its end."""
    path = folder / "looked-at.db"
    path.write_bytes(file)
    path.with_name("looked-at.db-wal").write_bytes(log)
    return breaks_off(path)


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
    assert not spoiled_in(tmp_path, file, log)
    for end in range(0, len(log), 1777):  # cut off anywhere, as by a kill
        assert not spoiled_in(tmp_path, file, log[:end])
    for place in range(frames):
        spoiled = bytearray(log)
        at = 32 + place * frame + 24 + 2000
        spoiled[at : at + 16] = b"spoiled, spoiled"
        # The last commits alone may be what a power cut leaves: nobody was told of them.
        assert spoiled_in(tmp_path, file, bytes(spoiled)) == (place < frames - 2)
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


def seen_by_sqlite(folder, file, log):
    """Return how many rows SQLite itself finds, None if not even the table."""
    (folder / "damaged.db").write_bytes(file)
    (folder / "damaged.db-wal").write_bytes(log)
    raw = sqlite3.connect(folder / "damaged.db")
    try:
        return raw.execute("SELECT count(*) FROM some").fetchone()[0]
    except sqlite3.OperationalError:
        return None
    finally:
        raw.close()


@pytest.mark.parametrize("place", range(32))
def test_a_log_whose_head_is_spoiled_is_told_and_read_by_its_frames(tmp_path, place):
    file, log = logged(tmp_path, 30)
    spoiled = bytearray(log)
    spoiled[place] ^= 0x5A
    assert seen_by_sqlite(tmp_path, file, spoiled) is None  # all of the log is dropped
    assert spoiled_in(tmp_path, file, bytes(spoiled))
    assert len(table_rows(file, bytes(spoiled))) == 30


@pytest.mark.parametrize("end", [32, 56, 512, 4096, 20_000])
def test_a_log_whose_beginning_is_gone_is_told(tmp_path, end):
    file, log = logged(tmp_path, 30)
    for spoiled in (bytes(end) + log[end:], random.Random(end).randbytes(end) + log[end:]):
        assert seen_by_sqlite(tmp_path, file, spoiled) is None
        assert spoiled_in(tmp_path, file, spoiled)
        assert len(table_rows(file, spoiled)) >= 29


def test_check_sums_in_the_other_byte_order_are_followed_too(tmp_path):
    """SQLite writes them in the machine's own order, and reads both: section 4.2, word by word."""
    file, log = logged(tmp_path, 30)
    first = second = 0

    def summed(read):
        nonlocal first, second
        words = struct.unpack(f"{order}{len(read) // 4}I", read)
        for one, other in zip(words[::2], words[1::2], strict=True):
            first = (first + one + second) & 0xFFFFFFFF
            second = (second + other + first) & 0xFFFFFFFF
        return struct.pack(">II", first, second)

    magic = int.from_bytes(log[:4], "big") ^ 1
    order = ">" if magic & 1 else "<"
    other = bytearray(magic.to_bytes(4, "big") + log[4:])
    other[24:32] = summed(other[:24])
    for at in range(32, len(log), 24 + 4096):
        other[at + 16 : at + 24] = summed(other[at : at + 8] + other[at + 24 : at + 24 + 4096])
    assert seen_by_sqlite(tmp_path, file, other) == 30
    assert not spoiled_in(tmp_path, file, other)
    other[20_000] ^= 1
    assert seen_by_sqlite(tmp_path, file, other) != 30
    assert spoiled_in(tmp_path, file, other)


def test_a_sound_log_is_looked_at_without_reading_the_file(tmp_path, monkeypatch):
    file, log = logged(tmp_path, 30)
    read = []
    monkeypatch.setattr(
        sqlite_pages,
        "read_whole",
        lambda path, largest: read.append(path.name) or read_whole(path, largest),
    )
    assert not spoiled_in(tmp_path, file, log)
    assert read == ["looked-at.db-wal"]


def test_what_sqlite_itself_leaves_is_not_taken_for_spoiled(tmp_path):
    path, log = tmp_path / "some.db", tmp_path / "some.db-wal"
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("PRAGMA journal_mode = WAL")
    raw.execute("CREATE TABLE some (seq INTEGER PRIMARY KEY, text TEXT, value)")
    written = 0

    def write(count):
        nonlocal written
        for _ in range(count):
            written += 1
            raw.execute("INSERT INTO some VALUES (?, 'x', 1)", (written,))

    write(30)
    raw.execute("PRAGMA wal_checkpoint(FULL)")
    file, taken_in = path.read_bytes(), log.read_bytes()
    assert not spoiled_in(tmp_path, file, taken_in)
    # All of it is in the file already: what becomes of its head matters no more.
    for head in (bytes(32), b"\xff" * 32):
        assert not spoiled_in(tmp_path, file, head + taken_in[32:])
        assert seen_by_sqlite(tmp_path, file, head + taken_in[32:]) == 30
    # Begun anew: the frames of before stand behind those of now, and SQLite sees through it.
    for _ in range(4):
        write(1)
        file, anew = path.read_bytes(), log.read_bytes()
        assert len(anew) == len(taken_in)
        assert not spoiled_in(tmp_path, file, anew)
        assert seen_by_sqlite(tmp_path, file, anew) == written
    # Spoiled then, only the frames of now are counted.
    assert spoiled_in(tmp_path, file, bytes(32) + anew[32:])
    assert {row[0] for row in table_rows(file, bytes(32) + anew[32:])} == set(range(1, 35))
    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    assert log.read_bytes() == b""
    assert not spoiled_in(tmp_path, path.read_bytes(), b"")
    raw.close()


def test_the_version_mark_is_the_one_written_last(tmp_path):
    path, log = tmp_path / "some.db", tmp_path / "some.db-wal"
    raw = sqlite3.connect(path, isolation_level=None)
    raw.execute("PRAGMA journal_mode = WAL")
    raw.execute("PRAGMA user_version = 3")
    raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    raw.execute("PRAGMA user_version = 7")
    file, logged_now = path.read_bytes(), log.read_bytes()
    raw.close()
    assert version(file) == 3
    assert version(file, logged_now) == 7
    assert version(bytes(100) + file[100:]) is None
    assert version(b"") is None


def test_noise_is_no_rows(tmp_path):
    chance = random.Random(3)
    for _ in range(40):
        list(rows(chance.randbytes(30_000), chance.randbytes(9_000)))
        assert not spoiled_in(tmp_path, chance.randbytes(9_000), chance.randbytes(30_000))
    assert list(rows(b"")) == []
    assert list(rows(b"SQLite format 3\x00", b"\x37\x7f\x06\x82" + bytes(60))) == []
