"""`chalkbeam calibrate --camera 0`: photos that the program takes itself, told line by line."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Self

import typer

from calibration.refusal import Refusal

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from rich.live import Live

    from calibration.geometry import PlatenFace
    from calibration.rig.from_photos import Calibration, CalibrationPhoto
    from chalkbeam.setup.camera.take import CaptureProgress, Wanted

CameraOption = Annotated[
    str | None,
    typer.Option(
        help="Take the photos with this camera: 0 is the first. A video file or numbered "
        "pictures (view-%02d.png) serve to try it out."
    ),
]
ViewsOption = Annotated[
    int, typer.Option(help="With --camera: photos of the bare platen, each from another side.")
]
DisplayOption = Annotated[
    int | None,
    typer.Option(help="With --camera: show the pattern on this display; see chalkbeam displays."),
]

_USUAL_VIEWS, _MOST_VIEWS = 3, 8


def check_photos_given(photos: list[Path] | None, views: int, display: int | None) -> None:
    """Refuse a call without photos, or with options that only a camera uses."""
    if not photos:
        raise Refusal("Name the photos to calibrate from, or a camera with --camera 0.")
    if views != _USUAL_VIEWS or display is not None:
        raise Refusal(
            "--views and --display go with --camera: leave them out where photos are named."
        )


def wanted_photos(
    photos: list[Path] | None,
    face: PlatenFace,
    size: tuple[int, int],
    views: int,
    spacer: float,
) -> Wanted:
    """Return what the camera is to take, or refuse what it cannot."""
    from chalkbeam.setup.camera.take import Wanted

    if photos:
        raise Refusal("Name photos or a camera, not both: leave out the photos or --camera.")
    if not 1 <= views <= _MOST_VIEWS:
        raise Refusal(f"{views} views cannot be taken: give --views 1 to {_MOST_VIEWS}.")
    return Wanted(face, size, views, spacer)


def rig_from_camera(
    camera: str,
    wanted: Wanted,
    rig: Path,
    display: int | None,
    solve: Callable[[Sequence[CalibrationPhoto], bool], Calibration],
) -> Calibration:
    """Guide the operator until the photos make a rig; save them next to the rig's file.

    Parameters
    ----------
    camera : str
        As typed: a number, a video file, or numbered pictures.
    wanted : Wanted
    rig : Path
        The rig's file to be.
    display : int or None
        Where to show the pattern meanwhile.
    solve : callable
        As `chalkbeam.setup.camera.until_accepted.take_until_accepted` takes it.

    Raises
    ------
    Refusal
        If the camera or the display cannot be used, or no photos would do.
    typer.Exit
        If the operator ends it: 130, as shells have it.
    """
    import cv2

    from calibration.files import write_whole
    from calibration.targets.pattern import Pattern, wants_fine
    from chalkbeam.setup.camera.source import open_source
    from chalkbeam.setup.camera.until_accepted import take_until_accepted

    frame = Pattern(wanted.size).draw(wants_fine(wanted.face))  # refuses impossible sizes first
    folder = rig.parent / f"{rig.stem}-photos" / f"{datetime.now():%Y%m%d-%H%M%S}"

    def save(name: str, image: NDArray[np.uint8]) -> Path:
        done, coded = cv2.imencode(".png", image)
        if not done:
            raise Refusal(f"The picture {name} cannot be saved: use another camera.")
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise Refusal(
                f"“{folder}” cannot be made ({error.strerror}): choose another place with --out."
            ) from None
        write_whole(folder / f"{name}.png", coded.tobytes())
        return folder / f"{name}.png"

    try:
        with open_source(camera) as source, _Teller() as tell:
            tell.say(_before(wanted, display))

            def work(stopped: Callable[[], bool]) -> Calibration:
                return take_until_accepted(source, wanted, save, tell, solve, stopped)

            return _in_light(work, frame, display)
    except Refusal:
        if folder.exists():
            print(
                f"The photos taken are saved in {folder}: they can be named to calibrate with what "
                "is missing.",
                file=sys.stderr,
            )
        raise
    except KeyboardInterrupt:
        where = f"the photos taken are saved in {folder}." if folder.exists() else "none is saved."
        print(f"Ended before there was a rig; {where}", file=sys.stderr)
        raise typer.Exit(130) from None


def _before(wanted: Wanted, display: int | None) -> str:
    width, height = wanted.size
    shown = (
        "Lay the four cards flush in the platen's corners."
        if display is not None
        else f"Show the pattern for {width}x{height} on the projector (chalkbeam pattern, or add "
        "--display), and lay the four cards flush in the platen's corners."
    )
    return (
        f"{shown} The press must be cold and open. Do not look into the projector's beam. "
        "Ctrl-C ends."
    )


def _in_light(
    work: Callable[[Callable[[], bool]], Calibration],
    frame: NDArray[np.uint8],
    display: int | None,
) -> Calibration:
    """Run `work`, with the pattern on a display where one is named."""
    if display is None:
        return work(lambda: False)
    from chalkbeam.setup.camera.run_while_shown import run_while_shown
    from overlay.window.displays import Screen
    from overlay.window.run import choose_display

    size = (int(frame.shape[1]), int(frame.shape[0]))
    return run_while_shown(work, frame, Screen(size, choose_display(size, display)))


class _Teller(AbstractContextManager["_Teller"]):
    """Tells progress on the terminal: one line kept up to date, or plain lines elsewhere."""

    def __init__(self) -> None:
        from rich.console import Console

        self._console = Console(stderr=True, highlight=False, markup=False, soft_wrap=True)
        self._live: Live | None = None
        self._said = ""

    def __enter__(self) -> Self:
        from rich.live import Live

        if self._console.is_terminal:
            self._live = Live(console=self._console, transient=True, auto_refresh=False)
            self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        if self._live is not None:
            self._live.stop()

    def say(self, line: str) -> None:
        """Print a line that stays."""
        self._console.print(line)

    def __call__(self, progress: CaptureProgress) -> None:
        """Show a line unless it is shown already."""
        line = progress_line(progress)
        if line == self._said:
            return
        self._said = line
        stays = progress.saved is not None or progress.refused
        if stays or self._live is None:
            self.say(line)
            if stays and self._live is not None:
                self._console.bell()  # the operator looks at the camera
        else:
            from rich.text import Text

            self._live.update(Text(line, overflow="fold"), refresh=True)


def progress_line(progress: CaptureProgress) -> str:
    """Return progress as one line, such as "Photo 2 of 3 | Good: hold the camera still."."""
    if progress.saved is not None:
        return f"{progress.sentence} Saved as {progress.saved}"
    if progress.refused:
        return f"Not sure enough yet, photo {progress.number} is needed | {progress.sentence}"
    on = f", on the {progress.raised:g} mm board" if progress.raised else ""
    return f"Photo {progress.number} of {progress.count}{on} | {progress.sentence}"
