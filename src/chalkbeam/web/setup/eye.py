"""The eye in the set-up: its pictures taken, light by light, and where it stands."""

from __future__ import annotations

import logging
import shutil
import threading
import time
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

import cv2

from calibration.files import write_whole
from calibration.refusal import Refusal
from calibration.rig import library
from calibration.rig.file import Rig
from chalkbeam.eye.flashes import burst_frames
from chalkbeam.web.setup import apart
from chalkbeam.web.setup.apart import EyeFitted
from chalkbeam.web.setup.desk import SetupDesk
from chalkbeam.web.words import t
from chalkbeam.web.worker import StoppedError, run_apart

_log = logging.getLogger(__name__)

EYE = "eye"
"""Name of the light that the eye is shown."""

SETTLES = 0.4
"""Seconds from a light to a picture that surely shows it; as `chalkbeam.eye.camera`."""

STALE = 2
"""Pictures that a camera may still hold from before."""

FIT_SECONDS = 120.0


@dataclass(frozen=True)
class Looking:
    """How far the eye's look at the bare platen has come.

    Attributes
    ----------
    done, count : int
        Pictures taken, and how many there will be; all taken: the eye is worked out.
    """

    done: int
    count: int


class EyeDesk:
    """Fits the eye of a rig that is set up; any thread may call it.

    Parameters
    ----------
    desk : SetupDesk
        Whose light it is.
    """

    def __init__(self, desk: SetupDesk) -> None:
        self._desk = desk
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self.looking: Looking | None = None
        self.refused = ""
        self.fitted: EyeFitted | None = None

    @property
    def report(self) -> bytes | None:
        """The picture of what the eye sees, PNG, where it was fitted since the page began."""
        return None if self.fitted is None else self.fitted.report

    def begin(self, rig: Rig, camera: int, view: float | None, raised: float) -> None:
        """Begin to take a burst, then fit the eye and keep it in the rig.

        Parameters
        ----------
        rig : Rig
        camera : int
            Number of the camera; 0 is the first.
        view : float or None
            View across the picture from the camera's data sheet, degrees.
        raised : float
            Height of a board on the platen, mm: its burst is added to that of the bare one.
        """
        with self._lock:
            if self.looking is not None:
                return
            self.looking = Looking(0, len(burst_frames(replace(rig, eye=None))))
            self.refused = ""
            self._stop.clear()
        given = (rig, camera, view, raised)
        threading.Thread(target=self._work, args=given, name="eye", daemon=True).start()

    def stop(self) -> None:
        """Look no longer."""
        self._stop.set()

    def _work(self, rig: Rig, camera: int, view: float | None, raised: float) -> None:
        try:
            folder = self._desk.file.folder / "eye"
            self._take(rig, camera, folder / ("board" if raised else "bare"))
            if not raised:
                shutil.rmtree(folder / "board", ignore_errors=True)
            bursts = [(folder / "bare", 0.0)] + ([(folder / "board", raised)] if raised else [])
            self.fitted = run_apart(
                apart.fit_the_eye, rig, bursts, view, seconds=FIT_SECONDS, stop=self._stop
            )
            library.keep(self.fitted.rig)
        except StoppedError:
            pass
        except Refusal as refusal:
            self.refused = str(refusal)
        except Exception:
            _log.exception("eye")
            self.refused = t("failed.500")
        finally:
            self.looking = None
            with suppress(Refusal):
                self._desk.dark()

    def _take(self, rig: Rig, camera: int, folder: Path) -> None:
        """Light the pictures of a burst one after the other, and take one of each."""
        frames = burst_frames(replace(rig, eye=None))
        shutil.rmtree(folder, ignore_errors=True)
        with self._desk.light.fixed(rig.face, camera) as source:
            for number, frame in enumerate(frames):
                if self._stop.is_set():
                    raise StoppedError
                self._desk.show_for(rig, EYE, frame.image)
                time.sleep(0.0 if self._desk.light.simulated else SETTLES)
                for _ in range(STALE):
                    source.read()
                seen = source.read()
                if seen is None:
                    raise Refusal(t("setup.eye.no_pictures"))
                coded = cv2.imencode(".png", seen.image)[1].tobytes()
                write_whole(folder / f"{frame.name}.png", coded)
                self.looking = Looking(number + 1, len(frames))
