"""What the set-up has in hand while the page is served: the light, the photos, the sum."""

from __future__ import annotations

import logging
import secrets
import shutil
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from calibration.files import write_whole
from calibration.refusal import Refusal, RemedyKind
from calibration.rig import library
from calibration.rig.file import Rig
from calibration.rig.from_photos import CalibrationPhoto
from calibration.rig.platens import kept_from
from chalkbeam.setup.camera.until_accepted import stays
from chalkbeam.setup.crosses.state import CrossState
from chalkbeam.station.code_in_light import LightCode
from chalkbeam.web.setup import apart, frames
from chalkbeam.web.setup.apart import WatchedView, Worked
from chalkbeam.web.setup.guide import Guide, GuideFile, Said, SetupStep
from chalkbeam.web.setup.light import SetupLight
from chalkbeam.web.setup.photo_desk import PhotoDesk
from chalkbeam.web.words import t
from chalkbeam.web.worker import StoppedError, run_apart
from overlay.draw.frame import Frame
from overlay.window.displays import chosen

_log = logging.getLogger(__name__)

SUM_SECONDS, WATCH_SECONDS = 300.0, 3600.0
"""Longest that the sum, and a camera that is carried round, may take."""

CODE = "code"
"""Name of the picture that pairs a device; the others have those of their steps."""


@dataclass(frozen=True)
class Sum:
    """How far the solving has come.

    Attributes
    ----------
    doing : str
        "reading", "solving" or "drawing"; empty before it begins.
    began : float
        When, on the monotonic clock, s.
    watched : bool
        Whether a live camera takes the photos first.
    sight : WatchedView or None
        What it sees.
    """

    doing: str
    began: float
    watched: bool = False
    sight: WatchedView | None = None


class SetupDesk:
    """What the set-up has in hand; any thread may call it.

    Parameters
    ----------
    folder : Path
        Where the guide and its photos are kept.
    light : SetupLight
    pressing : callable
        Whether an order is at the press, whose light fills the projector.

    Attributes
    ----------
    lit : str
        Name of the picture that is lit; empty for none.
    look : str
        Names what is to be seen on a simulated press: another picture, another name.
    trouble : str
        Why there is no light though there should be.
    photos : PhotoDesk
    crosses : dict of SetupStep to CrossState
        Crosses that are being moved on to their marks.
    crossing : Lock
        Is held while they change.
    """

    def __init__(
        self, folder: Path, light: SetupLight, pressing: Callable[[], bool] = lambda: False
    ) -> None:
        self.light, self._pressing = light, pressing
        self.file = GuideFile(folder)
        self.lit = self.trouble = ""
        self.look = ""
        self._stood: tuple[str, Frame, int] | None = None
        self.crosses: dict[SetupStep, CrossState] = {}
        self.crossing = threading.Lock()
        self.photos = PhotoDesk(self.file, light)
        self._sum: Sum | None = None
        self._stop = threading.Event()
        self._lock = threading.Lock()

    def guide(self) -> Guide:
        """Return the guide; photos that nobody looks at, as after a restart, are looked at."""
        guide = self.file.load()
        self.photos.look_at_all(guide)
        return guide

    # -- light -------------------------------------------------------------------------------

    def show(self, what: str, frame: Frame, guide: Guide) -> None:
        """Light a picture on the guide's display; `what` is its name.

        Raises
        ------
        Refusal
            If the display is not there.
        """
        assert guide.display is not None  # chosen in the second step
        self._show(what, frame, guide.display)

    def _show(self, what: str, frame: Frame, display: int) -> None:
        if self._pressing() and not self.light.simulated:
            raise Refusal("An order is at the press: end it first, then switch the light on here.")
        self.light.show(frame, display)
        self.lit, self.trouble, self._stood = what, "", (what, frame, display)
        self.look = secrets.token_hex(4)

    def dark(self) -> None:
        """End the light."""
        self.light.dark()
        self.lit, self._stood = "", None

    def show_for(self, rig: Rig, what: str, frame: Frame) -> None:
        """Light a picture on the display of a press that is set up.

        Raises
        ------
        Refusal
            If the display is not there, or cannot be told from others.
        """
        known = self._stood is not None and self._stood[1].shape == frame.shape
        display = self._stood[2] if known and self._stood else None
        self._show(what, frame, display or chosen(self.light.displays(), rig.projector.size))

    def show_code(self, asked: LightCode) -> None:
        """Light a code in place of what is lit, or on the display of the press that is set up.

        Raises
        ------
        Refusal
            If the display is not there, or cannot be told from others.
        """
        before, guide = self._stood, self.guide()
        known = library.default() if before is None else guide.rig
        sure = before is None or guide.reached(SetupStep.VERDICT)
        rig = library.open_rig(known) if sure and known else None
        if before is not None:
            height, width = before[1].shape[:2]
            size, display = (width, height), before[2]
        else:
            assert rig is not None  # else there is nothing to light it with
            size = rig.projector.size
            display = chosen(self.light.displays(), size)
        self._show(CODE, frames.code(asked, size, rig), display)
        self._stood = before

    def end_code(self) -> None:
        """Light again what was lit before a code."""
        if self.lit == CODE:
            if self._stood is None:
                self.dark()
            else:
                self._show(*self._stood)

    # -- the sum -----------------------------------------------------------------------------

    @property
    def working(self) -> Sum | None:
        """How far the solving has come; None where nothing is solved."""
        return self._sum

    def work_out(self, guide: Guide) -> None:
        """Begin to solve; the guide goes on to the verdict once that is done."""
        photos = [(self.file.photos / each.name, each.raised) for each in guide.good]

        def work() -> Worked:
            return run_apart(
                apart.work_out, photos, self.photos.seen(), guide.face, guide.size, guide.stated,
                guide.rig, seconds=SUM_SECONDS, tell=self._tell, stop=self._stop,
            )  # fmt: skip

        self._begin_sum(work)

    def watch(self, guide: Guide, camera: int, raised: float) -> None:
        """Have a live camera take the photos, then solve: the guide goes on likewise."""
        folder = self.file.folder / "watched"
        shutil.rmtree(folder, ignore_errors=True)

        def work() -> Worked:
            source = self.light.recording(guide.face, folder / "recording") or str(camera)
            return run_apart(
                apart.watch, source, folder, guide.face, guide.size, guide.stated, guide.rig,
                raised, seconds=WATCH_SECONDS, tell=self._tell, stop=self._stop,
            )  # fmt: skip

        self._begin_sum(work, watched=True)

    def _begin_sum(self, work: Callable[[], Worked], watched: bool = False) -> None:
        with self._lock:
            if self._sum is not None:
                return
            self._sum = Sum("", time.monotonic(), watched)
            self._stop.clear()
        threading.Thread(
            target=self._work_out, args=(work, watched), name="sum", daemon=True
        ).start()

    def stop(self) -> None:
        """Solve no longer."""
        self._stop.set()

    def _tell(self, said: str | WatchedView) -> None:
        if self._sum is not None:
            doing, sight = (said, self._sum.sight) if isinstance(said, str) else ("", said)
            self._sum = replace(self._sum, doing=doing, sight=sight)

    def _work_out(self, work: Callable[[], Worked], watched: bool) -> None:
        try:
            done = work()
            if self.file.load().step is SetupStep.SOLVE:
                self.keep(done.rig, done.report)
        except StoppedError:
            self._settle(lambda now: now.at(SetupStep.PHOTOS))
        except Refusal as refusal:
            said = refusal
            self._settle(
                lambda now: (
                    now.at(SetupStep.PHOTOS, refused=str(said)) if watched else _refused(now, said)
                )
            )
        except Exception:
            _log.exception("solving")
            self._settle(lambda now: now.at(SetupStep.PHOTOS, refused=t("failed.500")))
        else:
            self._settle(lambda now: now.at(SetupStep.VERDICT, refused=""))
        finally:
            self._sum = None
            if watched:
                with suppress(Refusal):
                    self.dark()

    def _settle(self, change: Callable[[Guide], Guide]) -> None:
        """Change the guide if it still waits for the sum: somebody may have begun again."""
        self.file.change(lambda now: change(now) if now.step is SetupStep.SOLVE else now)

    def keep(self, rig: Rig, report: bytes | None = None) -> None:
        """Keep a rig by its name, the one before it aside."""
        rig = kept_from(library.place(rig.name), rig)
        library.set_aside(rig.name)
        library.keep(rig)
        if report is not None:
            write_whole(library.report_place(rig), report)

    def renamed(self, old: str, new: str) -> None:
        """Go on under a rig's other name."""
        if self.file.load().rig == old:
            self.file.change(lambda now: now.with_(rig=new))

    def end(self) -> None:
        """Let everything come to its end: the page ends."""
        self._stop.set()
        self.photos.end()
        with suppress(Refusal):
            self.dark()


def _refused(guide: Guide, refusal: Refusal) -> Guide:
    """Return the guide back at its photos; those that must come again are marked as bad."""
    sentence, newest = str(refusal), guide.good[-1:]
    wanted = ""
    for photo in guide.good:
        taken = CalibrationPhoto(Path(photo.name), photo.raised)
        if not all(stays(each, taken, photo in newest) for each in refusal.remedies):
            guide = guide.judged(photo.name, said=Said.BAD, sentence=sentence)
    for each in refusal.remedies:
        if each.kind is RemedyKind.ONE_MORE:
            wanted = str(each.value)
    return guide.at(SetupStep.PHOTOS, refused=sentence, wanted=wanted)
