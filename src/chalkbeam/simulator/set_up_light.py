"""Light for the guided set-up without hardware: a simulated projector, and a phone that looks."""

from __future__ import annotations

import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.files import read_whole, write_whole
from calibration.geometry import XY, PlatenFace
from calibration.refusal import Refusal
from chalkbeam.setup.camera.source import CameraFrame, FrameSource
from chalkbeam.simulator.rig.optics import Lens, look_at
from chalkbeam.simulator.rig.photo_file import write_photo
from chalkbeam.simulator.rig.rigs import PlannedPhoto, VirtualRig, random_rig, render_photo
from chalkbeam.simulator.rig.scene import PressScene, RoomLight
from chalkbeam.simulator.rig.sensor import Sensor
from chalkbeam.simulator.rig.stage import SAMPLE_SEED, bystander
from overlay.draw.frame import Frame
from overlay.window.displays import ConnectedDisplay

PHOTOS = 3
PROJECTOR = ConnectedDisplay(2, (1920, 1080), "simulated projector")
_SCREEN = ConnectedDisplay(1, (1440, 900), "this screen")

_LOOK = (560, 420)
_CLOSE = 60.0
"""Width of what a close look shows, mm."""

_HELD, _COARSE = 6, 0.4
"""Pictures for which the camera that is carried round is held still, and their size against a
phone's."""

_PLACES = ((10.0, -260.0, 680.0), (-290.0, -30.0, 680.0), (280.0, 20.0, 680.0))
"""Where it is held, platen frame, mm."""

_STANDS, _SEES = (620.0, -520.0, 980.0), (960, 540)
"""Where the fixed camera stands, platen frame, mm, and the size of its picture, px: a quarter of a
turn round from the projector."""

_LAID = Sensor(blur=0.6, full_well=40000.0, read_noise=3.0, white=1.0)
_BARE = Sensor(blur=0.6, full_well=40000.0, read_noise=3.0, white=0.17)
_DIM = RoomLight(level=0.2, tint=(0.93, 1.0, 1.05))


_EYE = Lens(
    size=_SEES,
    focal=0.95 * _SEES[0],
    centre=(_SEES[0] / 2 - 0.5, _SEES[1] / 2 - 0.5),
    turn=look_at(_STANDS, (0.0, 0.0, 0.0)),
    position=_STANDS,
)


class SimulatedLight:
    """A press in software: what is shown falls on a platen with the cards laid, and is seen.

    Parameters
    ----------
    scale : float
        Size of the photos against a phone's.

    Attributes
    ----------
    frame : Frame or None
        What the projector shows.
    """

    simulated, shots = True, PHOTOS

    def __init__(self, scale: float = 0.5) -> None:
        self._scale = scale
        self.frame: Frame | None = None

    def press(self, face: PlatenFace) -> VirtualRig:
        """Return the simulated press of a platen: the truth."""
        return _rig(face, self._scale)

    def displays(self) -> tuple[ConnectedDisplay, ...]:
        """Return a computer's own screen and a projector."""
        return _SCREEN, PROJECTOR

    def show(self, frame: Frame, display: int) -> None:
        """Show a picture by the simulated projector."""
        if display != PROJECTOR.number:
            raise Refusal(f"Display {display} is this screen: choose the projector.")
        self.frame = frame

    def dark(self) -> None:
        """Show nothing."""
        self.frame = None

    def trouble(self) -> str:
        """Return nothing: what is simulated does not fail."""
        return ""

    def photo(self, face: PlatenFace, number: int) -> bytes:
        """Return a photo as a phone takes it of the platen as it is lit now, JPEG."""
        dark = np.zeros((PROJECTOR.size[1], PROJECTOR.size[0], 3), np.uint8)
        return _photo(self.press(face), number, dark if self.frame is None else self.frame)

    def recording(self, face: PlatenFace, folder: Path) -> str | None:
        """Write what a camera carried round the press sees: each place for a few pictures."""
        folder.mkdir(parents=True, exist_ok=True)
        rig, dark = _carried(face), np.zeros((*PROJECTOR.size[::-1], 3), np.uint8)
        for number in range(len(_PLACES)):
            seen = _photo(rig, number, dark if self.frame is None else self.frame)
            for again in range(_HELD):
                write_whole(folder / f"view-{number * _HELD + again:02d}.jpg", seen)
        return str(folder / "view-%02d.jpg")

    @contextmanager
    def fixed(self, face: PlatenFace, number: int) -> Iterator[FrameSource]:
        """Return a camera on the other side of the press than the projector."""
        del number
        yield _Fixed(self, face)

    def seen_by_eye(self, face: PlatenFace) -> NDArray[np.uint8]:
        """Return the fixed camera's picture of the bare platen as it is lit now, BGR."""
        rig = self.press(face)
        lamp = replace(rig.projector.lamp, brightness=1.0)
        scene = PressScene(face, cover=False, room=_DIM)
        return render_photo(
            scene, _EYE, _BARE, replace(rig.projector, lamp=lamp), self.frame, seed=None
        )

    def look(self, face: PlatenFace, laid: bool, mark: XY | None, close: bool) -> bytes:
        """Return what somebody at the press sees, or sees close to a mark, JPEG."""
        rig = self.press(face)
        view = bystander(_LOOK) if mark is None or not close else _close_to(mark)
        scene = rig.scene() if laid else PressScene(face, cover=False, room=_DIM)
        lamp = replace(rig.projector.lamp, brightness=1.0)
        seen = render_photo(
            scene, view, _LAID if laid else _BARE, replace(rig.projector, lamp=lamp), self.frame,
            seed=1,
        )  # fmt: skip
        if mark is not None:
            (place,) = view.pixels(np.array([[*mark, 0.0]]))
            centre = (round(float(place[0])), round(float(place[1])))
            long = 46 if close else 14
            cv2.drawMarker(seen, centre, (90, 90, 255), cv2.MARKER_CROSS, long, 1, cv2.LINE_AA)
        return cv2.imencode(".jpg", seen)[1].tobytes()


class _Fixed:
    """The fixed camera, as a source of pictures."""

    name = "The simulated camera"

    def __init__(self, light: SimulatedLight, face: PlatenFace) -> None:
        self._light, self._face = light, face
        self._of: Frame | None = None
        self._picture: NDArray[np.uint8] | None = None

    def read(self) -> CameraFrame | None:
        """Return what it sees; drawn once for each light, which takes long."""
        if self._picture is None or self._light.frame is not self._of:
            self._of = self._light.frame
            self._picture = self._light.seen_by_eye(self._face)
        return CameraFrame(self._picture, time.monotonic())


@lru_cache(maxsize=1)
def _carried(face: PlatenFace) -> VirtualRig:
    """Return the same press with its camera at the places that it is carried to."""
    rig = _rig(face, _COARSE)
    first = rig.photos[0]
    photos = (
        PlannedPhoto(
            replace(first.view, position=place, turn=look_at(place, (0.0, 0.0, 0.0))),
            first.sensor,
            0.0,
        )
        for place in _PLACES
    )
    return replace(rig, photos=tuple(photos))


@lru_cache(maxsize=2)
def _rig(face: PlatenFace, scale: float) -> VirtualRig:
    return random_rig(
        SAMPLE_SEED, "phone", photos=PHOTOS, raised=0, face=face, scale=scale, laying=0.2,
        paper=0.1, projector_size=PROJECTOR.size,
    )  # fmt: skip


def _photo(rig: VirtualRig, number: int, frame: Frame) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "photo.jpg"
        write_photo(
            rig.photo(number, frame), path, make="Tern Harbour", model="Pocket camera",
            view=rig.photos[number].view,
        )  # fmt: skip
        return read_whole(path)


def _close_to(mark: XY) -> Lens:
    """Return a view straight down on a mark, the operator's right to the right."""
    width, height = _LOOK
    above = 500.0
    eye = (mark[0], mark[1], above)
    return Lens(
        size=_LOOK,
        focal=width * above / _CLOSE,
        centre=(width / 2 - 0.5, height / 2 - 0.5),
        turn=look_at(eye, (mark[0], mark[1] + 1e-3, 0.0)),
        position=eye,
    )
