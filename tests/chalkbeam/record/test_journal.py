"""The journal: whatever befalls its bytes, what is read was written, what lacks is told."""

import os
import tempfile
import threading
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    invariant,
    rule,
    run_state_machine_as_test,
)

from calibration.refusal import Refusal
from chalkbeam.record import journal as journal_module
from chalkbeam.record import journal_lines
from chalkbeam.record.journal import Journal
from chalkbeam.record.journal_lines import Missing, parse_line, read_journal, scan


@pytest.fixture
def unsynced(monkeypatch):
    """Without waiting for the disk."""
    monkeypatch.setattr(journal_module, "_sync", lambda file: None)


def small(path):
    """Write seven acts, of which the third and fourth, and the last three, are a group."""
    with Journal(path, press="p1") as journal:
        journal.append("r", [{"event": "Grüße\n"}])
        journal.append("r", [{"event": 2}])
        journal.append("r", [{"event": 3}, {"event": [4, None]}])
        journal.append("s", [{"event": "five"}, {}, {"event": 7}])
    return path.read_bytes(), read_journal(path).lines


def test_what_is_appended_is_read_again(tmp_path):
    path = tmp_path / "journal"
    _, lines = small(path)
    assert [line.number for line in lines] == [1, 2, 3, 4, 5, 6, 7]
    assert [line.run for line in lines] == list("rrrrsss")
    assert [line.body for line in lines][:2] == [{"event": "Grüße\n"}, {"event": 2}]
    assert {line.press for line in lines} == {"p1"}
    found = read_journal(path)
    assert (found.press, found.gaps, found.torn) == ("p1", (), 0)
    with Journal(path, press="another") as journal:  # it has a press already
        assert (journal.press, journal.last, journal.torn) == ("p1", 7, 0)
        (line,) = journal.append("r", [{"event": 8}])
        assert line.number == 8
        assert list(journal.lines_after(6)) == [lines[6], line]


def told_truly(found, lines):
    """Whether what is read is part of what was written, and all that lacks is told."""
    read = {line.number: line for line in found.lines}
    known = {line.number: line for line in lines}
    assert all(known.get(number) == line for number, line in read.items())
    assert [line.number for line in found.lines] == sorted(read)
    missing = {n for gap in found.gaps for n in range(gap.first, gap.last + 1)}
    assert missing == {n for n in known if n not in read and n < max(read, default=0)}
    assert found.torn or max(read, default=0) == max(known)
    for group in {line.group for line in lines}:  # all of a group or nothing
        members = set(range(group[0], group[1] + 1))
        assert members <= set(read) or not members & set(read)


def test_cut_off_at_every_byte_it_keeps_every_whole_group_before(tmp_path, unsynced):
    path = tmp_path / "journal"
    whole, lines = small(path)
    ends = [n + 1 for n, byte in enumerate(whole) if byte == ord("\n")]
    for cut in range(len(whole)):
        path.write_bytes(whole[:cut])
        found = read_journal(path)
        whole_lines = sum(end <= cut for end in ends)
        kept = max((line.group[1] for line in lines if line.group[1] <= whole_lines), default=0)
        assert (found.lines, found.gaps) == (lines[:kept], ())
        assert found.torn == cut - ([0, *ends][kept])
        with Journal(path, press="p1") as journal:  # and it is gone on with
            assert (journal.last, journal.torn) == (kept, found.torn)
            journal.append("r", [{"event": "on"}, {"event": "and on"}])
        again = read_journal(path)
        assert [line.body for line in again.lines] == [
            *(line.body for line in lines[:kept]), {"event": "on"}, {"event": "and on"},
        ]  # fmt: skip
        assert (again.gaps, again.torn) == ((), 0)


def test_with_every_byte_flipped_nothing_wrong_is_read_and_what_lacks_is_told(tmp_path):
    path = tmp_path / "journal"
    whole, lines = small(path)
    for place in range(len(whole)):
        for flip in (1 << place % 8, 0x20, 0xFF):
            spoiled = bytearray(whole)
            spoiled[place] ^= flip
            path.write_bytes(spoiled)
            found = read_journal(path)
            told_truly(found, lines)
            assert len(found.lines) < len(lines)  # none goes unseen
            assert len(found.lines) >= len(lines) - 5  # two neighbouring groups at most


def test_a_damaged_middle_says_the_numbers_that_are_missing(tmp_path):
    path = tmp_path / "journal"
    whole, lines = small(path)
    path.write_bytes(whole.replace(b'"event":3', b'"event":9'))
    found = read_journal(path)
    assert found.gaps == (Missing(3, 4),)  # its group falls with it
    assert found.lines == lines[:2] + lines[4:]
    path.write_bytes(whole[whole.index(b"\n") + 1 :])
    assert read_journal(path).gaps == (Missing(1, 1),)
    path.write_bytes(whole + whole)  # told twice counts once; it is not what was written
    assert read_journal(path).lines == lines
    other = tmp_path / "other"
    with Journal(other, press="p2") as journal:
        for _ in range(9):
            journal.append("r", [{"event": "of another press"}])
    path.write_bytes(whole + other.read_bytes())
    assert read_journal(path).lines == lines


def test_any_bytes_at_all_can_be_read(tmp_path):
    path = tmp_path / "journal"
    deep = b"[" * 100_000
    contents = [b"", b"\n", b"\n\n\n", b"\x00" * 70_000, os.urandom(5000), deep, b"1" * 5000]
    for said in (b"[]", b"1", b"null", b"{}", b'{"number":1e999}', b'{"number":"x"}', deep,
                 b'{"press":1,"number":1,"run":"","group":[1],"body":{}}',
                 b'{"press":1,"number":1,"run":"","group":[2,1],"body":{}}',
                 b'{"press":1,"number":1,"run":"","body":3}', b"9" * 5000):  # fmt: skip
        contents.append(journal_lines._sum(said).encode() + b" " + said + b"\n")
    for content in contents:
        path.write_bytes(content)
        found = read_journal(path)
        assert (found.lines, found.gaps, found.torn) == ((), (), len(content))
        with Journal(path) as journal:
            assert (journal.last, journal.torn) == (0, len(content))


def test_what_cannot_be_written_is_refused_and_nothing_changes(tmp_path):
    path = tmp_path / "journal"
    whole, _ = small(path)
    with Journal(path) as journal:
        for wrong in ({"x": float("nan")}, {"x": "\udce9"}):
            with pytest.raises(ValueError):  # noqa: PT011 - two kinds of it
                journal.append("r", [{"event": 8}, wrong])
        assert journal.last == 7
    assert path.read_bytes() == whole


@pytest.mark.parametrize("fails", ["half a write", "the disk"])
def test_a_disk_that_fails_is_a_sentence_and_the_next_act_goes_through(
    tmp_path, monkeypatch, fails
):
    path = tmp_path / "journal"
    whole, lines = small(path)

    def full(*_):
        raise OSError(28, "No space left on device")

    with Journal(path) as journal:
        with monkeypatch.context() as disk:
            if fails == "the disk":
                disk.setattr(journal_module, "_sync", full)
            else:
                real, calls = os.write, iter(range(9))
                disk.setattr(
                    journal_module.os, "write",
                    lambda file, rest: real(file, rest[:9]) if next(calls) == 0 else full(),
                )  # fmt: skip
            with pytest.raises(Refusal, match="The disk is full"):
                journal.append("r", [{"event": 8}])
        assert path.read_bytes() == whole
        journal.append("r", [{"event": "anew"}])
    found = read_journal(path)
    assert [line.body for line in found.lines[7:]] == [{"event": "anew"}]
    assert (found.lines[:7], found.torn) == (lines, 0)


@pytest.mark.parametrize("act", ["delete", "replace", "cut"])
def test_a_journal_taken_away_is_told_at_the_next_act(tmp_path, act):
    path = tmp_path / "journal"
    whole, _ = small(path)
    with Journal(path) as journal:
        if act == "delete":
            path.unlink()
        elif act == "cut":
            os.truncate(path, len(whole) - 1)
        else:
            (tmp_path / "other").write_bytes(whole)
            (tmp_path / "other").replace(path)
        for _ in range(2):
            with pytest.raises(Refusal, match="was deleted, moved, replaced or cut"):
                journal.append("r", [{}])
        assert journal.last == 7


def test_a_journal_that_cannot_be_opened_is_a_sentence(tmp_path):
    with pytest.raises(Refusal, match="cannot be used"):
        Journal(tmp_path)
    with pytest.raises(Refusal, match="cannot be used"):
        Journal(tmp_path / "none" / "journal")


def test_two_programs_and_a_reader_number_their_acts_without_a_gap(tmp_path, unsynced):
    path = tmp_path / "journal"
    here, there = Journal(path), Journal(path)
    done = threading.Event()
    followed = []

    def follow():
        while not done.is_set() or (followed and followed[-1].number < here.last):
            followed.extend(here.lines_after(followed[-1].number if followed else 0))

    def work(journal, name):
        for count in range(60):
            journal.append(name, [{"event": count}] * (1 + count % 3))

    threads = [threading.Thread(target=work, args=each) for each in ((here, "h"), (there, "t"))]
    reader = threading.Thread(target=follow)
    for thread in [reader, *threads]:
        thread.start()
    for thread in threads:
        thread.join()
    with here.held():  # sees what the other has added
        pass
    done.set()
    reader.join()
    found = read_journal(path)
    assert (found.gaps, found.torn) == ((), 0)
    assert [line.number for line in found.lines] == list(range(1, 241))
    for name in "ht":
        counts = [line.body["event"] for line in found.lines if line.run == name]
        assert counts == [count for count in range(60) for _ in range(1 + count % 3)]
    assert tuple(followed) == found.lines
    with there.held(), pytest.raises(Refusal, match="Another program holds"):
        Journal(path, lock_wait=0.02)
    here.close()
    there.close()


def test_a_long_journal_is_opened_and_followed_from_its_end(tmp_path, unsynced, monkeypatch):
    path = tmp_path / "journal"
    monkeypatch.setattr(journal_lines, "WINDOW", 300)
    with Journal(path) as journal:
        for count in range(40):
            journal.append("r", [{"event": "x" * (17 * count)}] * (1 + count % 3))
    lines = read_journal(path).lines
    with Journal(path) as journal:
        assert journal.last == len(lines) == 79
        for number in range(len(lines) + 2):
            assert tuple(journal.lines_after(number)) == lines[number:]
    whole = bytearray(path.read_bytes())
    whole[len(whole) // 3 : len(whole) // 2] = b"\n" * (len(whole) // 2 - len(whole) // 3)
    path.write_bytes(whole)
    kept = read_journal(path).lines
    with Journal(path) as journal:
        for number in range(len(lines) + 2):
            found = tuple(journal.lines_after(number))
            assert found == tuple(line for line in kept if line.number > number)


class JournalMachine(RuleBasedStateMachine):
    """A journal against a plain list of what was confirmed, with crashes and torn writes."""

    def __init__(self):
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name) / "journal"
        self.known = []
        self.journal = Journal(self.path, press="p")

    @rule(bodies=st.lists(st.dictionaries(st.text(max_size=3), st.integers()), min_size=1,
                          max_size=4))  # fmt: skip
    def append(self, bodies):
        for line in self.journal.append("r", bodies):
            assert line.number == len(self.known) + 1
            self.known.append(line)

    @rule(share=st.floats(0, 1), fate=st.sampled_from(["cut", "zeros", "flip"]))
    def crash_in_a_write(self, share, fate):
        """Leave of a write that nobody was told of what a power cut may leave."""
        before = self.path.stat().st_size
        with Journal(self.path, press="p") as other:
            other.append("r", [{"event": "unsaid"}, {"event": "unsaid too"}])
        whole = bytearray(self.path.read_bytes())
        place = before + int(share * (len(whole) - before - 1))
        if fate == "cut":
            del whole[place:]
        elif fate == "zeros":
            whole[place:] = bytes(len(whole) - place)
        else:
            whole[place] ^= 0x10
        self.journal.close()
        self.path.write_bytes(whole)
        self.journal = Journal(self.path, press="p")
        if self.journal.last != len(self.known):  # it was whole all the same, and may count
            assert (self.journal.last, fate) == (len(self.known) + 2, "flip")
            self.known += read_journal(self.path).lines[-2:]

    @rule()
    def reopen(self):
        self.journal.close()
        self.journal = Journal(self.path, press="another")

    @rule(number=st.integers(0, 40))
    def follow(self, number):
        assert list(self.journal.lines_after(number)) == self.known[number:]

    @invariant()
    def what_was_confirmed_is_there(self):
        found = read_journal(self.path)
        assert list(found.lines) == self.known
        assert found.gaps == ()
        assert self.journal.last == len(self.known)
        assert {line.press for line in self.known} <= {self.journal.press}

    def teardown(self):
        self.journal.close()
        self.folder.cleanup()


def test_it_agrees_with_a_plain_list_whatever_comes(unsynced, monkeypatch):
    monkeypatch.setattr(journal_lines, "WINDOW", 200)
    run_state_machine_as_test(
        JournalMachine, settings=settings(max_examples=25, stateful_step_count=15, deadline=None)
    )


def test_scan_and_parse_say_the_same(tmp_path):
    path = tmp_path / "journal"
    whole, lines = small(path)
    assert [parse_line(text) for text in whole.split(b"\n")[:-1]] == list(scan(path))
    assert [line.text.encode() for line in lines] == whole.split(b"\n")[:-1]
