"""A run whose program is killed again and again: acknowledged acts lost, acts counted twice.

``python -m benchmarks.kills [kills [longest life, s]]`` (needs a system with ``fork``)

A child process works through runs as the station does, and says each act on a pipe once
it is recorded. The parent kills it (SIGKILL) at a random moment, the first ones while the
record's files are still being made; the next child takes the run up where it stands. Now and
then the sheet is edited under way and its changes are taken over. In the end every act that
was said must be in the record, and no imprint pressed twice, nor pressed before a change and
forgotten by it; and the journal alone, its database taken away, must make the same record again.

SIGKILL stands for a crashed or killed program. A power cut is beyond what a test can do on
one machine: against that the journal waits for the disk, and its torn ends are tried byte by
byte in its tests.
"""

from __future__ import annotations

import json
import os
import random
import select
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.orders.settings import Setting
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import UNDER_HEAD, Event, Kind, NewEvent, Step, in_force
from chalkbeam.record.journal_lines import read_journal
from chalkbeam.record.progress import Progress
from chalkbeam.record.recorder import Recorder
from chalkbeam.record.runs import Run
from chalkbeam.record.session import RunSession
from chalkbeam.record.store import Store, journal_of
from chalkbeam.record.taken_over import take_over
from chalkbeam.station.press_steps import after_load, after_peel, after_press
from chalkbeam.station.values import CommandKind, OperatorState
from chalkbeam.station.words import unpeeled_pieces

PIECES = 150
COOLS = 0.05
"""How long a carrier cools, s: short, so that it is peeled within a life."""
CHANGES = 0.03
"""Share of acts before which the sheet is edited."""
POSE = {"x": 0.0, "y": 0.0, "angle": 0.0}
ACTS = (Kind.STEPPED, Kind.NUDGED, Kind.PRESSED, Kind.SET, Kind.CONFIRMED, Kind.ASIDE)
"""What a child says."""


@dataclass(frozen=True, kw_only=True)
class Counts:
    """What is counted in every record.

    Attributes
    ----------
    doubled : int
        Imprints with more than one press in force, those before a change with them.
    changed, forgotten : int
        Times that an edited sheet was taken over; presses before one that it does not know of.
    gaps : int
        Imprints passed over, or pressed out of turn, by a child that took a run up.
    unset : int
        Times that the press was closed in a session that had not said that it is set so.
    unlike : int
        Acts of one that the other has not, of the record and of one made anew from its journal.
    runs : int
        Runs finished on the way.
    """

    doubled: int
    changed: int
    forgotten: int
    gaps: int
    unset: int
    unlike: int
    runs: int


@dataclass(frozen=True, kw_only=True)
class Toll(Counts):
    """What the kills did.

    Attributes
    ----------
    said : int
        Acts that a child had acknowledged.
    lost : int
        Of these, acts that are not in the record.
    unsaid : int
        Acts in the record that nobody was told of: killed between writing and saying, so at
        most one key's a kill, which may do two things.
    intact : bool
        Whether SQLite's own integrity check passes, and the journal lacks no number.
    """

    kills: int
    said: int
    lost: int
    unsaid: int
    intact: bool


@dataclass(frozen=True, kw_only=True)
class Examined(Counts):
    """What a record holds, and whether it is intact."""

    acts: list[Event]
    intact: bool


def pieces(count: int) -> list[Piece]:
    """Return so many plain pieces with one imprint each."""
    return pieces_of(range(2, count + 2))


def pieces_of(rows: Iterable[int]) -> list[Piece]:
    """Return plain pieces with one imprint each, one for each row of a sheet.

    By turns their transfers cool before the peel, are peeled hot, and want a pre-press and a
    second press.
    """
    art = Art(ArtKind.FILE, "crest.svg")
    settings = (
        PressSettings("280 F", peel="cold", cooling="60 s", cooling_wait=COOLS),
        PressSettings("305 F", peel="hot"),
        PressSettings("305 F", peel="warm", prepress="3 s", second="5 s with cover"),
    )
    return [
        Piece(f"{row}-1", row, 1, 1, "tee", "M", "navy",
              (Imprint(f"{row}-1/1", "left chest", art, press=settings[row % 3]),))
        for row in rows
    ]  # fmt: skip


def work(path: Path, pipe: int, seed: int) -> None:
    """Work runs one after another, saying the id of each act once it is recorded."""
    chance = random.Random(seed)
    order = plan(pieces(PIECES))
    with Store(path) as store:
        while True:
            run = store.latest()
            if run is None or Progress(run.stops, store.events(run)).stop is None:
                title = str(PIECES + 2)  # the first row that no piece has come from
                run = store.begin(order, title=title, sheet=Path("kills.csv"), digest="")
            session = RunSession(run, Saying(pipe, store, run))
            while session.progress.stop is not None:
                if chance.random() < CHANGES and may_change(session.progress):
                    take_changes(store, run, chance)
                    break
                act(session, chance)
                if chance.random() < 0.02:
                    session.undo()


def may_change(progress: Progress) -> bool:
    """Whether an edited sheet may be taken over: nothing is under the head or to be peeled."""
    return progress.at.step not in UNDER_HEAD and not unpeeled_pieces(progress)


def take_changes(store: Store, run: Run, chance: random.Random) -> None:
    """Edit the sheet, some rows gone and some new, and begin a run that goes on with it."""
    rows = sorted({stop.piece.row for stop in run.stops})
    for _ in range(chance.randint(0, 3)):
        rows.remove(chance.choice(rows))
    free, more = int(run.title), chance.randint(0, 3)
    now = pieces_of([*rows, *range(free, free + more)])
    done = take_over(run.id, run.stops, store.events(run), now)
    store.begin(
        plan(now), title=str(free + more), sheet=Path("kills.csv"), digest="", earlier=run.id,
        carried=done.acts,
    )  # fmt: skip


def act(session: RunSession, chance: random.Random) -> None:
    """Do the next thing as the station does it: what the transfer's sheet asks for, in order."""
    progress, at = session.progress, session.progress.at
    if progress.to_set(at) is not None:
        session.set_press()
    elif progress.to_confirm(at):
        session.confirm("key")
    elif at.step is Step.LOAD:
        session.step(after_load(progress))
    elif at.step is Step.LAY and chance.random() < 0.2:
        session.nudge(Shift(0.1, 0.0))
    elif at.step is Step.LAY and chance.random() < 0.1:
        session.keep_for_batch(Shift(0.1, 0.0))
    elif at.step in (Step.PREPRESS, Step.LAY):
        session.step(Step.LAY if at.step is Step.PREPRESS else Step.PRESS)
    elif at.step is Step.SECOND:
        session.press(POSE)
    else:
        after = after_press if at.step is Step.PRESS else after_peel
        command = after(OperatorState(), progress)
        if command.kind is CommandKind.ASIDE:
            session.put_aside(COOLS)
        elif command.kind is CommandKind.STEP:
            session.step(command.step)
        else:
            session.press(POSE)


class Saying(Recorder):
    """Writes the ids of acts to a pipe once they are recorded."""

    def __init__(self, pipe: int, store: Store, run: Run) -> None:
        super().__init__(store, run, operator="child")
        self._pipe = pipe

    def write_all(self, acts: Sequence[NewEvent], ids: Sequence[str]) -> list[Event]:
        """Write acts, then say them."""
        events = super().write_all(acts, ids)
        words = "".join(f"{event.id}\n" for event in events if event.kind in ACTS)
        os.write(self._pipe, words.encode())
        return events


def one_life(path: Path, seed: int, moment: float, acts: bool = False) -> list[str]:
    """Start a child, kill it after `moment` seconds, and return the ids it had said.

    With `acts` they count from its first act: a busy machine may take seconds to come so far.
    """
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        try:
            work(path, writing, seed)
        except BaseException as error:
            os.write(2, f"child: {error!r}\n".encode())
        os._exit(1)
    os.close(writing)
    if acts:
        select.select([reading], [], [])
    time.sleep(moment)
    os.kill(child, signal.SIGKILL)
    with os.fdopen(reading, "rb") as pipe:
        words = pipe.read()
    _, status = os.waitpid(child, 0)
    if not os.WIFSIGNALED(status):
        raise RuntimeError("the child ended by itself: see its message above")
    return words.decode().split("\n")[:-1]  # a word cut off in the middle was not said


def not_set(run: Run, events: list[Event]) -> int:
    """Return how many times the press was closed with the press not said to be set."""
    wanted = {stop.imprint.id: Setting.of(stop.imprint.press) for stop in run.stops}
    said: dict[str, Setting | None] = {}
    count = 0
    for event in events:
        if event.kind is Kind.SET:
            said[event.session] = wanted[event.imprint]
        elif event.kind is Kind.STEPPED and event.step is Step.PRESS:
            count += said.get(event.session) != wanted[event.imprint]
    return count


def examine(path: Path) -> Examined:
    """Return what a record holds and what is wrong with it."""
    acts: list[Event] = []
    doubled = changed = forgotten = gaps = unset = finished = unlike = 0
    done_in: dict[str, set[str]] = {}
    anew = path.with_name(f"anew-{path.name}")
    with Store(path) as store:
        shutil.copyfile(store.journal.path, journal_of(anew))
        for heading in sorted(store.runs(), key=lambda each: each.begun):
            run = store.run(heading.id)
            events = store.events(run)
            acts += [e for e in events if e.kind in ACTS]
            with Store(anew) as other:
                same = other.events(other.run(heading.id))
            unlike += len(set(map(repr, events)) ^ set(map(repr, same)))
            unset += not_set(run, events)
            pressed = Counter(e.imprint for e in in_force(events) if e.kind is Kind.PRESSED)
            doubled += sum(number - 1 for number in pressed.values())
            carried = {e.imprint for e in events if e.kind is Kind.CARRIED}
            before = done_in.get(run.earlier or "", set())
            here = {stop.imprint.id for stop in run.stops}
            changed += run.earlier is not None
            forgotten += len((before & here) - carried)
            doubled += len(before & set(pressed))
            done_in[run.id] = set(pressed) | carried
            progress = Progress(run.stops, events)
            finished += progress.at.index is None
            cools = {
                stop.imprint.id
                for index, stop in enumerate(run.stops)
                if progress.waits(index) is not None
            }
            done = set(pressed) | cools
            order = [stop.imprint.id for stop in run.stops if stop.imprint.id not in carried]
            gaps += len(done - set(order[: len(done)]))
    with sqlite3.connect(path) as raw:
        intact = raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    raw.close()
    intact = intact and not read_journal(journal_of(path)).gaps
    return Examined(
        acts=acts, doubled=doubled, changed=changed, forgotten=forgotten, gaps=gaps, unset=unset,
        unlike=unlike, runs=finished, intact=intact,
    )  # fmt: skip


def run_kills(kills: int, folder: Path, seed: int = 1, longest: float = 0.4) -> Toll:
    """Kill `kills` children, each after a random while of up to `longest` seconds.

    A hundred kills share one record, then a new one is begun.
    """
    chance = random.Random(seed)
    said: list[str] = []
    for life in range(kills):
        path = folder / f"record-{life // 100}.db"
        # The first lives of each record are short, to fall into the making of its tables; of
        # the others one in two is sure to act, and one in two may end while it takes up the run.
        early = life % 100 < 10
        moment = chance.uniform(0.0, 0.03 if early else longest)
        said += one_life(path, seed * 100_003 + life, moment, acts=not early and life % 2 == 0)
    found = [examine(path) for path in sorted(folder.glob("record-*.db"))]
    recorded = Counter(act.id for each in found for act in each.acts)
    words = Counter(said)
    counted = [field.name for field in fields(Counts)]
    return Toll(
        kills=kills, said=len(said), lost=(words - recorded).total(),
        unsaid=(recorded - words).total(), intact=all(each.intact for each in found),
        **{name: sum(getattr(each, name) for each in found) for name in counted},
    )  # fmt: skip


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    longest = float(sys.argv[2]) if len(sys.argv) > 2 else 0.4
    with tempfile.TemporaryDirectory() as folder:
        toll = run_kills(kills, Path(folder), longest=longest)
    print(json.dumps(asdict(toll)))
    if not toll.said:  # nothing lost of nothing
        sys.exit("No child lived long enough to act: kill more than ten.")


if __name__ == "__main__":
    main()
