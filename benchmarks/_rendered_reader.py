"""Reads a garment on the rehearsed stage for good: rendered by the second press, then measured.

The film of a rehearsal is too coarse to be measured. So whenever a garment is to be read, the
second press lets cloth down where the stage has it, renders a whole burst with its own camera, and
the program reads that, as it would a camera's. Tees are the second press's own; what else lies
there has the program's drawing, wider and longer by chance, but the second press's cloth. What a
transfer's reading would be is still taken from the stage.
"""

from __future__ import annotations

import dataclasses
from collections import Counter
from collections.abc import Callable
from typing import Any

import cv2
import numpy as np

from benchmarks import _second_press as second
from benchmarks._second_press import shirt
from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.read import PieceRead, read_piece
from chalkbeam.garments import Face
from chalkbeam.simulator.press.reader import StageReader
from chalkbeam.simulator.press.stage import LaidGarment, Stage
from chalkbeam.station.eye_reader import OrderedPiece, PrintLaid

_FINE = 2  # cells of the drawing's outline a mm


class RenderedReader(StageReader):
    """Reads garments from rendered bursts, all else from the stage.

    Parameters
    ----------
    stage : callable
        What is on the stage now.
    rng : Generator
    at : Press
    frames : dict
        What a burst shows, by name.

    Attributes
    ----------
    said : Counter of str
        How readings of a garment ended: sure, not sure, and how many were wrong by over 5 mm.
    """

    def __init__(
        self,
        stage: Callable[[], Stage],
        rng: np.random.Generator,
        at: second.Press,
        frames: dict[str, Any],
    ) -> None:
        super().__init__(stage, rng)
        self._at, self._frames, self._count = at, frames, 0
        self.said: Counter[str] = Counter()
        bare = second.scene(at.number * 10, "empty", at=at)
        self._empty = self._burst(dataclasses.replace(bare, seed=at.number * 10 + 500_000))

    def piece(
        self, rig: Rig, burst: Burst, empty: Burst, piece: OrderedPiece, laid: PrintLaid | None
    ) -> PieceRead:
        """See `BurstReader`."""
        told = super().piece(rig, burst, empty, piece, laid)
        stage = self._stage()
        if stage.garment is None or stage.arms or stage.head > 0:
            return told
        found = read_piece(
            rig, self._rendered(stage.garment), self._empty, piece.garment, piece.face,
            usual=piece.usual, others=piece.others, lies=None if laid is None else laid.lies,
            tolerance=piece.tolerance,
        )  # fmt: skip
        self._count_up(found, stage.garment)
        reading = dataclasses.replace(found.reading, transfer=told.reading.transfer)
        return dataclasses.replace(found, reading=reading)

    def _rendered(self, lies: LaidGarment) -> Burst:
        self._count += 1
        pose = lies.platen_from_garment
        own = lies.garment.style == "crew_tee"
        scene = second.scene(
            self._at.number * 10 + 1000 * self._count,
            at=self._at,
            colour=tuple(lies.colour),
            face=lies.face,
            size=lies.garment.size,
            lies=(pose.x, pose.y, pose.angle),
            plan=None if own else drawn(lies.garment.face(lies.face)),
        )
        return self._burst(scene)

    def _burst(self, scene: second.Scene) -> Burst:
        return Burst(f"scene {scene.seed}", second.burst(scene, self._frames))

    def _count_up(self, found: PieceRead, lies: LaidGarment) -> None:
        seen, true = found.reading.garment, lies.platen_from_garment
        self.said["sure" if seen.sure else "not sure"] += 1
        if seen.sure and seen.neck is not None and seen.lower is not None:
            lower = true.apply(np.array([[0.0, 300.0]]))[0]
            off = max(np.hypot(seen.neck[0] - true.x, seen.neck[1] - true.y),
                      np.hypot(*(np.array(seen.lower) - lower)))  # fmt: skip
            self.said["sure and over 3 mm off"] += off > 3
            self.said["sure and over 5 mm off"] += off > 5


def drawn(face: Face) -> shirt.Draft:
    """Return the second press's draft of a face that the program has drawn."""
    closed = [line.points for line in face.lines if line.closed]
    shapes = [np.asarray(face.outline), *closed]
    low = np.vstack(shapes).min(axis=0) - 5
    size = np.ceil((np.vstack(shapes).max(axis=0) + 5 - low) * _FINE).astype(int)
    mask = np.zeros((size[1], size[0]), np.uint8)
    for shape in shapes:
        cv2.fillPoly(mask, [np.rint((shape - low) * _FINE).astype(np.int32)], 1)
    rings, _ = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(rings, key=len)[:, 0] / _FINE + low
    lines = {
        f"{line.name} {number}": _path(np.asarray(line.points), line.closed)
        for number, line in enumerate(face.lines)
    }
    collar = next((line.points for line in face.lines if line.name == "collar"), None)
    neck = next((path for name, path in lines.items() if name.split()[0] in _NECKS), None)
    nothing = np.zeros((3, 2), np.float32) + low
    return shirt.Draft(
        outline=outline.astype(np.float32),
        hole=nothing.astype(np.float32),
        neck_seam=(nothing if neck is None else neck).astype(np.float32),
        lines=lines,
        rib=(nothing if collar is None else np.asarray(collar)).astype(np.float32),
        back_rib=None,
        top=float(outline[:, 1].min()),
    )


_NECKS = ("collar", "hood", "neck")


def _path(points: np.ndarray, closed: bool) -> np.ndarray:
    return (np.vstack([points, points[:1]]) if closed else points).astype(np.float32)
