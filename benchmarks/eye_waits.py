"""How long one waits for the eye: garment still to its light, transfer still to its verdict.

    python -m benchmarks.eye_waits --scenes 50 --camera above

A burst is read while it is taken, so waits and work overlap. When each picture comes is what the
program's own `BurstTaker` makes of a camera of 30 pictures a second that is 0.12 s late; when the
reader asks for it is measured in processor time of its one thread. A picture that is not there yet
is waited for. So the figures are those of one core with nothing else to do, whatever else runs
here. What is added to them: the stillness that is waited for and the camera's lateness before it;
not the next picture of light, which is drawn in some 30 ms.
"""

from __future__ import annotations

import argparse
import dataclasses
import math
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from benchmarks import _second_press as second
from benchmarks._eye_shop import Shop, shops
from calibration.geometry import Isometry
from calibration.rig.file import Rig, load
from chalkbeam.artwork.ink_measures import measured_ink
from chalkbeam.cli.options.artwork import read_art
from chalkbeam.eye.blocks import by_light_alone, differing, gain_between
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.camera import BurstTaker, Lag
from chalkbeam.eye.flashes import BurstFrame
from chalkbeam.eye.read import WantedPrint, read_piece
from chalkbeam.eye.surface import measure_surface
from chalkbeam.eye.transfer import USUAL_TOLERANCE
from chalkbeam.eye.values import HeightSeen
from chalkbeam.eye.watch import SETTLED, STILL
from chalkbeam.garments import Garment, garment
from chalkbeam.locations import location
from chalkbeam.placement import place as place_art
from chalkbeam.station.eye_light import LAID
from chalkbeam.station.eye_reader import OrderedPiece, PrintLaid, RealReader

Wait = tuple[float, float]
"""How long a burst and its answer take, and what of it is work, s."""
Row = tuple[Wait, Wait]
U8 = NDArray[np.uint8]

RATE, LATE = 30.0, 0.12
_LAG = Lag(LATE, LATE + 1 / RATE, 1 / RATE)
_UNREAD = "pattern", "dots"
_NOTHING = np.zeros((1, 1, 3), np.uint8)


class Timeline(Mapping[str, U8]):
    """Pictures of a burst that come one by one on a clock that waiting and working move.

    Attributes
    ----------
    now : float
        Since the burst began, s.
    """

    def __init__(self, pictures: Mapping[str, U8], comes: Mapping[str, float]) -> None:
        self._pictures, self._comes = pictures, comes
        self.now, self._worked = 0.0, time.thread_time()

    def work(self) -> float:
        """Add what was worked since; return the time."""
        worked = time.thread_time()
        self.now += worked - self._worked
        self._worked = worked
        return self.now

    def __getitem__(self, name: str) -> U8:
        """Return a picture, waiting for it."""
        self.now = max(self.work(), self._comes[name])
        return self._pictures[name]

    def __contains__(self, name: object) -> bool:
        """Tell whether a picture is to come."""
        return name in self._comes

    def __iter__(self) -> Iterator[str]:
        """Go through the names."""
        return iter(self._comes)

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._comes)


def coming(names: tuple[str, ...]) -> tuple[dict[str, float], float]:
    """Return when each picture of a burst comes, and when it is whole, s."""
    frames = [BurstFrame(name, _NOTHING) for name in names]
    taker, at, comes = BurstTaker(frames, _LAG, lambda one, other: False), 0.0, {}
    while not taker.whole:
        taker.shown(at + 0.5 / RATE)
        at += 1 / RATE
        taker.take(_NOTHING, at)
        comes |= {name: at for name in names if name not in comes and not taker.lacks(name)}
    return comes, at


def waited(
    burst: Mapping[str, U8], names: tuple[str, ...], read: Callable[[Burst], object]
) -> Wait:
    """Return how long a burst is taken and read."""
    comes, whole = coming(names)
    pictures = Timeline(burst, comes)
    began = time.thread_time()
    read(Burst("timed", pictures))
    return max(pictures.work(), whole), time.thread_time() - began


def measured(shop: Shop, seeds: list[int], scale: float) -> Iterator[Row]:
    """Yield the waits and the work for garment and transfer of each seed."""
    rig = load(shop.fitted)
    bare = dataclasses.replace(shop.bare, seed=shop.number * 10 + 500_000)
    empty = Burst("empty", second.burst(bare, shop.frames))
    names = tuple(name for name in shop.frames if name not in _UNREAD)
    where: dict[str, Any] = {"scale": scale, "at": shop.press, "face": "front"}
    for seed in seeds:
        scene = second.scene(seed, "plain", **where)
        piece = garment("crew_tee", scene.truth["size"]["name"])
        pictures = second.burst(scene, shop.frames)
        first = waited(pictures, names, partial(_read, rig, empty, piece))
        laid = second.scene(seed, second.SHEETS[seed % 4], **where, laid_off=(2.0, -1.0, 0.5))
        ordered, wanted = _ordered(laid, shop.place)
        alone = Burst("alone", pictures)
        height = measure_surface(rig, alone).seen
        by_light_alone(alone, alone)  # as when the garment was remembered
        look = partial(_look, rig, alone, ordered, wanted, height)
        frames = {name: shop.frames[name] for name in LAID}
        yield first, waited(second.burst(laid, frames), LAID, look)


def _read(rig: Rig, empty: Burst, piece: Garment, burst: Burst) -> None:
    read_piece(rig, burst, empty, piece, "front")


def _look(
    rig: Rig, alone: Burst, ordered: OrderedPiece, laid: PrintLaid, height: HeightSeen, burst: Burst
) -> None:
    one, other = by_light_alone(alone, burst)
    differing(one, other, gain_between(one, other, np.ones(one.scatter.shape, bool)))
    RealReader().laid(rig, burst, ordered, laid, height)


def _ordered(scene: second.Scene, place: Path) -> tuple[OrderedPiece, PrintLaid]:
    """Return what is ordered where a transfer is laid, and the print, where the garment lies."""
    assert scene.laid is not None
    art = place / "art.png"
    cv2.imwrite(str(art), cv2.cvtColor(scene.laid.art, cv2.COLOR_RGBA2BGRA))
    piece, spot = garment("crew_tee", scene.truth["size"]["name"]), location("full-front")
    wide = f"{scene.truth['transfer']['ink_size_mm'][0]:.2f}mm"
    artwork = read_art(art, None, piece, spot, width=wide)
    placement = place_art(piece, spot, artwork)
    true = scene.truth["garment"]
    lies = Isometry(*true["neck_mm"], math.radians(true["centre_line_deg"]), mirrored=True)
    wanted = WantedPrint(artwork, measured_ink(art).mask(), placement.garment_from_art)
    return OrderedPiece(piece, "front", lies, (), USUAL_TOLERANCE), PrintLaid(wanted, lies)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=10)
    parser.add_argument("--per-press", type=int, default=10)
    parser.add_argument("--seed", type=int, default=5000)
    parser.add_argument("--scale", type=float, default=1.0)
    parser.add_argument("--camera", choices=["beside", "above"], default="above")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        rows = [
            row
            for shop, seeds in shops(asked, Path(place))
            for row in measured(shop, seeds, asked.scale)
        ]
    for words, still, part in (
        ("garment still to its light", STILL, [row[0] for row in rows]),
        ("transfer still to its verdict", SETTLED, [row[1] for row in rows]),
    ):
        waits, work = np.array(part).T
        middle, high = np.percentile(waits + LATE + still, [50, 95])
        print(
            f"{words}: {middle:.2f} s, 95 % {high:.2f} s, n = {len(part)}; "
            f"work {np.median(work):.2f} s"
        )


if __name__ == "__main__":
    main()
