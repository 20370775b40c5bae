"""What is lit when a program is killed: never a nudge that is not on record.

``python -m benchmarks.kills_lit [kills [longest life, s]]`` (needs a system with ``fork``)

A child process lays imprints at the press by arrow keys and Shift Return and puts every picture
into memory that it shares with its parent, as a flip of the display does; between keys it draws
ahead, as a window does. The parent kills it
at a random moment, reads off the picture by how far its yellow has moved (phase correlation; it
knows nothing of marks and rigs, but how far two nudges of known size move it), and compares
with the nudges that a record made anew from the journal says. The picture may lag behind the
record by the key that was being answered, and may never be ahead of it.
"""

from __future__ import annotations

import json
import mmap
import os
import random
import shutil
import signal
import struct
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece
from chalkbeam.record.events import Event, Kind, Step
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store, journal_of
from chalkbeam.station.controller import StationController
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.ready_imprint import ImprintPreparer
from overlay.window.inputs import Key
from tests.support.rigs import demo_rig

SIZE = (1280, 720)
REACH = 6
"""Coarse nudges, mm, that a child goes from the planned place."""
ARROWS = {"left": (-1, 0), "right": (1, 0), "up": (0, 1), "down": (0, -1)}
_BYTES = SIZE[0] * SIZE[1] * 3
_HEAD = 16

Place = tuple[int, int]


@dataclass(frozen=True)
class Lit:
    """What the kills did.

    Attributes
    ----------
    kills : int
    read : int
        Pictures read off; a child that was killed before its first one has none.
    keys : int
        On record in the end.
    as_recorded : int
        Of these, pictures that show the last nudge on record.
    behind : int
        Pictures that lack the last key, killed between record and picture.
    ahead : int
        Pictures that show what is not on record, or lack more than one key.
    """

    kills: int
    read: int
    keys: int
    as_recorded: int
    behind: int
    ahead: int


class Screen:
    """Two pictures in memory that a parent shares with its child, and which one is shown."""

    def __init__(self) -> None:
        self._memory = mmap.mmap(-1, _HEAD + 2 * _BYTES)

    def clear(self) -> None:
        """Show nothing."""
        self._memory[:_HEAD] = bytes(_HEAD)

    def flip(self, picture: NDArray[np.uint8]) -> None:
        """Show a picture."""
        (shown,) = struct.unpack_from("q", self._memory)
        start = _HEAD + _BYTES * ((shown + 1) % 2)
        self._memory[start : start + _BYTES] = picture.tobytes()
        struct.pack_into("q", self._memory, 0, shown + 1)

    def read(self) -> NDArray[np.uint8] | None:
        """Return the picture that is shown."""
        (shown,) = struct.unpack_from("q", self._memory)
        start = _HEAD + _BYTES * (shown % 2)
        raw = np.frombuffer(self._memory[start : start + _BYTES], np.uint8)
        return raw.reshape(SIZE[1], SIZE[0], 3) if shown else None


def station_on(store: Store, preparer: ImprintPreparer) -> StationController:
    """Return a station on the record's run, begun if there is none."""
    order = [
        Piece(f"{row}-1", row, 1, 1, "crew_tee", "L", "navy",
              (Imprint(f"{row}-1/1", "player-name", Art(ArtKind.NAME, "ROWER")),))
        for row in range(1, 5)
    ]  # fmt: skip
    run = store.latest() or store.begin(plan(order), title="", sheet=Path("k.csv"), digest="")
    return StationController(open_session(store, run), preparer, FrameCache())


def lay(station: StationController, screen: Screen) -> None:
    """Go on to the lay light, and show it."""
    for number in range(8):
        if station.session.progress.at.step is Step.LAY:
            break
        station.take(Key("space", at=60.0 * number))
    screen.flip(station.output.frame(station.scene()))


def work(path: Path, screen: Screen, preparer: ImprintPreparer, seed: int) -> None:
    """Nudge without end, at random."""
    chance = random.Random(seed)
    with Store(path) as store:
        station = station_on(store, preparer)
        lay(station, screen)
        for number in range(100, 1_000_000):
            shift = station.session.progress.nudge(0)
            name = chance.choice(list(ARROWS))
            x, y = ARROWS[name]
            if abs(shift.x + x) > REACH + 0.5 or abs(shift.y + y) > REACH + 0.5:
                continue
            key = Key("return", at=60.0 * number, shift=True) if chance.random() < 0.2 else None
            station.take(key or Key(name, at=60.0 * number))
            screen.flip(station.output.frame(station.scene()))
            # As between keys: what the next may show is drawn ahead, as far as there is time.
            until = time.monotonic() + chance.uniform(0.0, 0.3)
            for _ in station.foresee():
                if time.monotonic() > until:
                    break
            time.sleep(max(0.0, until - time.monotonic()))


def yellow(picture: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Return where a picture is yellow, blurred, as `cv2.phaseCorrelate` takes it."""
    red, green, blue = (picture[..., channel].astype(np.int16) for channel in range(3))
    where = (red > 100) & (green > 100) & (blue < np.minimum(red, green) * 0.75)
    return cv2.GaussianBlur(where.astype(np.float32), (0, 0), 1.5)


class Reader:
    """Reads off a picture how far it was nudged.

    Parameters
    ----------
    planned, right, up : ndarray
        Pictures as planned, and nudged by `REACH` mm to the right and up.
    """

    def __init__(self, planned: NDArray[np.uint8], *moved: NDArray[np.uint8]) -> None:
        self._planned = yellow(planned)
        pixels = [self._moved(each) for each in moved]
        self._mm_from_px = REACH * np.linalg.inv(np.array(pixels).T)

    def _moved(self, picture: NDArray[np.uint8]) -> tuple[float, float]:
        (x, y), _ = cv2.phaseCorrelate(self._planned, yellow(picture))
        return x, y

    def place(self, picture: NDArray[np.uint8]) -> tuple[float, float]:
        """Return the nudge, mm to the right and up."""
        x, y = self._mm_from_px @ np.array(self._moved(picture))
        return float(x), float(y)


def reader(folder: Path, screen: Screen, preparer: ImprintPreparer) -> Reader:
    """Return a reader, its three pictures made at records of their own."""
    pictures = []
    for name in ("", "right", "up"):

        def show(name: str = name) -> None:
            with Store(folder / f"reader-{name}.db") as store:
                station = station_on(store, preparer)
                lay(station, screen)
                for number in range(REACH if name else 0):
                    station.take(Key(name, at=1e4 + 60.0 * number))
                screen.flip(station.output.frame(station.scene()))

        _, status = os.waitpid(begun(show), 0)
        picture = screen.read()
        assert status == 0
        assert picture is not None
        pictures.append(picture)
    return Reader(*pictures)


def begun(act: Callable[[], None]) -> int:
    """Begin a child process; return its number. The parent draws nothing: its threads stay here."""
    child = os.fork()
    if child:
        return child
    try:
        act()
    except BaseException as error:
        os.write(2, f"child: {error!r}\n".encode())
        os._exit(1)
    os._exit(0)


def places(events: list[Event]) -> list[Place]:
    """Return where each key has left the imprint, by the record alone, mm."""
    x = y = 0.0
    found: list[Place] = [(0, 0)]
    skip = False
    for event in events:
        if event.kind is not Kind.NUDGED:
            continue
        x, y = x + event.data["x"], y + event.data["y"]
        # Shift Return is two events of one key, and leaves the imprint where it was.
        pair = not event.data["batch"] and _is_taking_back(event, events)
        skip = pair and not skip
        if not skip:
            found.append((round(x), round(y)))
    return found


def _is_taking_back(event: Event, events: list[Event]) -> bool:
    following = events[events.index(event) + 1 :][:1]
    return bool(following) and bool(following[0].data.get("batch"))


def run_kills(kills: int, folder: Path, longest: float, seed: int = 1) -> Lit:
    """Kill `kills` children, each a random while after its first picture."""
    screen = Screen()
    preparer = ImprintPreparer([demo_rig(SIZE)])
    eye = reader(folder, screen, preparer)
    path = folder / "record.db"
    chance = random.Random(seed)
    came: Counter[str] = Counter()
    said: list[Place] = []
    for life in range(kills):
        screen.clear()
        child = begun(partial(work, path, screen, preparer, seed * 100_003 + life))
        until = time.monotonic() + 60
        while screen.read() is None and time.monotonic() < until:
            time.sleep(0.01)
        time.sleep(chance.uniform(0.0, longest))
        os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        if not os.WIFSIGNALED(status):
            raise RuntimeError("the child ended by itself: see its message above")
        picture = screen.read()
        if picture is None:
            continue
        anew = folder / "anew.db"
        anew.unlink(missing_ok=True)
        shutil.copyfile(journal_of(path), journal_of(anew))
        with Store(anew) as store:
            run = store.latest()
            assert run is not None
            said = places(store.events(run))
        x, y = eye.place(picture)
        near = [abs(x - a) < 0.35 and abs(y - b) < 0.35 for a, b in said[-2:]]
        came["as recorded" if near[-1] else "behind" if near[0] else "ahead"] += 1
        if not any(near):
            print(f"life {life}: ({x:.2f}, {y:.2f}) shown, {said[-4:]} recorded", file=sys.stderr)
    return Lit(
        kills, came.total(), len(said) - 1, came["as recorded"], came["behind"], came["ahead"]
    )  # fmt: skip


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    longest = float(sys.argv[2]) if len(sys.argv) > 2 else 2.0
    with tempfile.TemporaryDirectory() as folder:
        print(json.dumps(asdict(run_kills(kills, Path(folder), longest))))


if __name__ == "__main__":
    main()
