"""The press's camera that a run goes by, as it is asked for on the command line."""

from __future__ import annotations

import sys
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from calibration.refusal import Refusal

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from calibration.rig.file import Rig
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.eye_host import EyeSource
    from overlay.window.inputs import Input


class EyesAsked:
    """The camera asked for with --eye.

    Parameters
    ----------
    camera : str
        As typed.
    tolerance : str
    degrees : float
    """

    def __init__(self, camera: str, tolerance: str, degrees: float) -> None:
        from chalkbeam.cli.options.tolerance import read_tolerance

        self._simulated = camera == "simulated"
        if not self._simulated and not camera.isdecimal():
            raise Refusal(f"--eye {camera} is no camera: give its number, such as 0.")
        self._number = 0 if self._simulated else int(camera)
        self._tolerance = read_tolerance(tolerance, degrees)

    def fitted(self, rigs: Sequence[Rig]) -> list[Rig]:
        """Return the rigs of one press's platens with their eyes."""
        rig = rigs[0]
        if rig.eye is not None:
            return list(rigs)
        if self._simulated:
            from chalkbeam.simulator.press.live import with_simulated_eye

            return [with_simulated_eye(each) for each in rigs]
        raise Refusal(
            f"The rig “{rig.name}” has no eye: fit its camera with chalkbeam eye fit, or leave "
            "--eye out."
        )

    @contextmanager
    def open(self, rigs: Sequence[Rig], record: Path | None) -> Iterator[EyeSource]:
        """Open the camera of a press's platens; pictures are kept beside a record, if given."""
        from concurrent.futures import ThreadPoolExecutor

        from chalkbeam.eye.live_camera import open_live
        from chalkbeam.record.pictures import PictureFolder
        from chalkbeam.station.eye_at_press import EyeAtPress, EyeOptions
        from chalkbeam.station.eye_by_platen import EyeByPlaten
        from chalkbeam.station.eye_host import EyeSource

        pictures = None if record is None else PictureFolder.of(record)
        options = EyeOptions(self._tolerance, pictures)
        hand = ThreadPoolExecutor(1, thread_name_prefix="reading")
        try:
            if self._simulated:
                from chalkbeam.simulator.press.live import SimulatedPress

                press = SimulatedPress(rigs)
                print(press.words, file=sys.stderr)

                def rehearse(
                    controller: StationController, post: Callable[[Input], None]
                ) -> EyeByPlaten:
                    eyes = EyeByPlaten(controller, rigs, lambda rig: EyeAtPress(
                        controller, rig, hand.submit, options, reader=press.reader
                    ))  # fmt: skip
                    press.begin(controller, post, lambda: eyes.eye.watch.knows_bare)
                    return eyes

                yield EyeSource(press, rehearse)
                return
            assert rigs[0].eye is not None  # as `fitted` returned it
            with open_live(self._number, rigs[0].eye.size) as camera:
                if camera.words:
                    print(camera.words, file=sys.stderr)
                yield EyeSource(
                    camera, lambda controller, post: EyeByPlaten(
                        controller, rigs,
                        lambda rig: EyeAtPress(controller, rig, hand.submit, options),
                    ),
                )  # fmt: skip
        finally:
            hand.shutdown(wait=False, cancel_futures=True)
