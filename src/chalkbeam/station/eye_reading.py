"""Bursts for the station: which pictures each shows, and what reads it meanwhile.

A burst is read from its first picture on: what reads it waits for those that are still to come.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, replace
from typing import Any

from calibration.rig.file import Rig
from chalkbeam.eye.blocks import Mask
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.read import PieceRead
from chalkbeam.eye.sights import FlashKind
from chalkbeam.eye.transfer import Tolerance
from chalkbeam.eye.values import HeightSeen, TransferSeen
from chalkbeam.eye.watch import PressWatch
from chalkbeam.station.controller import StationController
from chalkbeam.station.eye_light import EMPTY, LAID, EyeLight
from chalkbeam.station.eye_reader import BurstReader, OrderedPiece, PrintLaid
from chalkbeam.station.eye_work import know_print, laid_print, ordered_piece

Submit = Callable[[Callable[[], Any]], "Future[Any]"]
"""Has something worked out elsewhere."""


@dataclass(frozen=True, eq=False)
class LaidRead:
    """What a burst told after a transfer may have been laid.

    Attributes
    ----------
    changed : ndarray of bool or None
        Blocks that look otherwise than the garment alone did; None where that is not known.
    transfer : TransferSeen or None
    piece : PieceRead or None
        Where garment and transfer were read together.
    """

    changed: Mask | None
    transfer: TransferSeen | None = None
    piece: PieceRead | None = None


class EyeReading:
    """Has bursts shown and read, one at a time.

    Parameters
    ----------
    rig : Rig
    light : EyeLight
    watch : PressWatch
    submit : callable
    reader : BurstReader
    controller : StationController
    tolerance : Tolerance

    Attributes
    ----------
    height : HeightSeen or None
        The cloth's, where it was measured.
    bare, alone : Burst or None
        Of the bare platen, and of the garment as it lies with nothing on it.
    kind : FlashKind
        What the last burst was for.
    whole : bool
        Whether that was for the garment and the transfer on it.
    """

    def __init__(
        self, rig: Rig, light: EyeLight, watch: PressWatch, submit: Submit, reader: BurstReader,
        controller: StationController, tolerance: Tolerance,
    ) -> None:  # fmt: skip
        self._rig, self._light, self._watch = rig, light, watch
        self._submit, self._reader = submit, reader
        self._controller, self._tolerance = controller, tolerance
        self._pending: Future[Any] | None = None
        self._print: Future[Any] | None = None
        self._pressed: tuple[str, OrderedPiece, PrintLaid] | None = None
        self.bare: Burst | None = None
        self.alone: Burst | None = None
        self.height: HeightSeen | None = None
        self.kind, self.whole = FlashKind.EMPTY, False

    @property
    def runs(self) -> bool:
        """Whether something is being read."""
        return self._pending is not None

    def flash(self, kind: FlashKind) -> None:
        """Begin a burst, and have it read as it comes."""
        self.kind = kind
        self.whole = kind is FlashKind.TRANSFER and self.alone is None
        match kind:
            case FlashKind.EMPTY if self.bare is None:
                burst = self._light.flash_all()
            case FlashKind.EMPTY:
                burst = self._light.flash(EMPTY)
            case FlashKind.LOOK | FlashKind.PRINT:
                burst = self._light.flash(LAID)
            case FlashKind.TRANSFER if not self.whole:
                burst = self._light.flash(LAID)
            case _:
                burst = self._light.flash()
        self._begin(burst)

    def flash_whole(self) -> None:
        """Begin a burst of a transfer and of the garment below it, which may have been moved."""
        self.whole = True
        self._begin(self._light.flash())

    def presses(self) -> None:
        """Keep what is pressed now, to be looked at once it is."""
        controller = self._controller
        ready, stop = controller.readiness.ready, controller.session.progress.stop
        laid = laid_print(controller)
        if ready is None or stop is None or laid is None:
            self._pressed = None
            return
        wanted = replace(laid.wanted, sheet_known=False)  # its carrier may be gone
        self._pressed = (
            stop.imprint.id,
            ordered_piece(ready, self._tolerance),
            replace(laid, wanted=wanted),
        )

    def stop(self) -> None:
        """Stop what is shown and forget what is read; a print is read on once it was taken."""
        if self.kind is FlashKind.PRINT and self._light.shows:
            self._print = None
        self._light.stop()
        self._pending = None

    def _begin(self, burst: Burst) -> None:
        reads = self._submit(self._job(burst) or (lambda: None))
        if self.kind is FlashKind.PRINT:
            self._print = reads
        else:
            self._pending = reads

    def take_print(self) -> Future[Any] | None:
        """Return what was read of a pressed print, once; it is read on, whatever moves."""
        if self._print is None or not self._print.done():
            return None
        done, self._print = self._print, None
        return done

    def take(self) -> Future[Any] | None:
        """Return what was read, once."""
        if self._pending is None or not self._pending.done():
            return None
        done, self._pending = self._pending, None
        return done

    def _job(self, burst: Burst) -> Callable[[], Any] | None:
        rig, reader, watch, controller = self._rig, self._reader, self._watch, self._controller
        bare, alone, height = self.bare, self.alone, self.height
        ready = controller.readiness.ready
        if self.kind is FlashKind.EMPTY:
            return lambda: (burst, reader.check(rig, burst))
        if self.kind is FlashKind.LOOK:
            return None if alone is None else lambda: watch.changed_between(alone, burst)
        if self.kind is FlashKind.PRINT:
            if self._pressed is None:
                return None
            name, was, done = self._pressed
            return lambda: (name, reader.laid(rig, burst, was, done, height))
        if ready is None or bare is None:
            return None
        piece = ordered_piece(ready, self._tolerance)
        if self.kind is FlashKind.GARMENT:
            stop = controller.session.progress.stop
            placement, imprint = ready.choice.placement, None if stop is None else stop.imprint

            def measure() -> tuple[Burst, PieceRead]:
                if imprint is not None:
                    know_print(placement, imprint)  # while the pictures come
                return burst, reader.piece(rig, burst, bare, piece, None)

            return measure
        laid = laid_print(controller)
        if laid is None:
            return None
        if self.whole:

            def read() -> LaidRead:
                changed = None if alone is None else watch.changed_between(alone, burst)
                found = reader.piece(rig, burst, bare, piece, laid)
                return LaidRead(changed, found.reading.transfer, found)

            return read
        assert alone is not None

        def look() -> LaidRead:
            changed = watch.changed_between(alone, burst)
            if watch.changed_elsewhere(changed) or not watch.lies_at_target(changed):
                return LaidRead(changed)
            return LaidRead(changed, reader.laid(rig, burst, piece, laid, height))

        return look
