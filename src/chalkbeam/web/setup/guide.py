"""How far the set-up has come: a value, kept in a file after every step."""

from __future__ import annotations

import threading
from collections.abc import Callable
from enum import Enum
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field

from calibration.files import read_whole, write_whole
from calibration.geometry import PlatenFace
from calibration.solve.values import Stated

VERSION = 1

ENOUGH, SIDES = 3, 2
"""Photos of the bare platen that are asked for, and from how many sides at least."""

XYZ = tuple[float, float, float]


class SetupStep(Enum):
    """The steps of the set-up, in their order; the values are their addresses."""

    PLATEN = "platen"
    PROJECTOR = "projector"
    CARDS = "cards"
    PHOTOS = "photos"
    BY_HAND = "by_hand"
    SOLVE = "solve"
    VERDICT = "verdict"
    CROSSES = "crosses"
    RULER = "ruler"
    DONE = "done"

    @property
    def number(self) -> int:
        """Its place, from 1."""
        return list(SetupStep).index(self) + 1


class Said(Enum):
    """What was found in a photo."""

    LOOKING = "looking"
    GOOD = "good"
    BAD = "bad"


class _Kept(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class GuidePhoto(_Kept):
    """A photo that came in.

    Attributes
    ----------
    name : str
        Its file's name in the guide's folder of photos.
    digest : str
        SHA-256 of its bytes.
    raised : float
        Height of the board under the cards, mm; 0 for none.
    said : Said
    sentence : str
        What is wrong with it.
    towards : (x, y, z) or None
        From where it was taken, as `QuickLook.towards`.
    """

    name: str
    digest: str
    raised: float = 0.0
    said: Said = Said.LOOKING
    sentence: str = ""
    towards: XYZ | None = None


class Guide(_Kept):
    """How far the set-up has come, and what was said on the way.

    Attributes
    ----------
    step : SetupStep
        Where it goes on; every step before it was checked.
    platen : str
        Name or size as chosen.
    platen_mm : (width, depth) or None
    display : int or None
        Number of the projector's display.
    size : (width, height) or None
        Of its picture, px.
    rig : str
        What the rig will be called; empty until that is said.
    bar : float or None
        Measured length of the printed bar, mm.
    up_to : float
        Height of cloth up to which light must land true, mm.
    photos : tuple of GuidePhoto
    throw : float or None
        Throw ratio of the projector, where crosses are set by hand.
    outline : tuple of (x, y)
        Where the outline's corners were dragged to, as `outline.covered` takes them; none: nowhere.
    taken : int
        How many photos ever came in; numbers their files.
    refused : str
        Why the photos made no rig when they were last tried.
    wanted : str
        Side of the platen that one more photo was then asked for from.
    """

    version: int = Field(default=VERSION, ge=VERSION, le=VERSION)
    step: SetupStep = SetupStep.PLATEN
    platen: str = ""
    platen_mm: tuple[float, float] | None = None
    display: int | None = None
    size: tuple[int, int] | None = None
    rig: str = ""
    bar: float | None = None
    up_to: float = 4.0
    photos: tuple[GuidePhoto, ...] = ()
    throw: float | None = None
    outline: tuple[tuple[float, float], ...] = ()
    taken: int = 0
    refused: str = ""
    wanted: str = ""

    def with_(self, **values: object) -> Guide:
        """Return the guide with some values changed."""
        return self.model_copy(update=values)

    def at(self, step: SetupStep, **values: object) -> Guide:
        """Return the guide gone on to a step."""
        return self.with_(step=step, **values)

    def without_photos(self) -> Guide:
        """Return the guide with no photos: they were of another platen or picture."""
        return self.with_(photos=(), refused="", wanted="")

    def reached(self, step: SetupStep) -> bool:
        """Whether a step's page may be opened."""
        return step.number <= self.step.number

    @property
    def face(self) -> PlatenFace:
        """The platen's face; only from the second step on."""
        assert self.platen_mm is not None
        return PlatenFace(*self.platen_mm)

    @property
    def stated(self) -> Stated:
        """What the solver is told beside the photos."""
        heights = (0.0, self.up_to) if self.up_to else (0.0,)
        return Stated(bar=self.bar, throw=self.throw, heights=heights)

    @property
    def good(self) -> tuple[GuidePhoto, ...]:
        """The photos that can be used."""
        return tuple(each for each in self.photos if each.said is Said.GOOD)

    @property
    def busy(self) -> bool:
        """Whether a photo is being looked at."""
        return any(each.said is Said.LOOKING for each in self.photos)

    def photo(self, name: str) -> GuidePhoto | None:
        """Return a photo by its file's name."""
        return next((each for each in self.photos if each.name == name), None)

    def judged(self, name: str, **values: object) -> Guide:
        """Return the guide with something found in a photo; one taken away stays away."""
        photos = tuple(
            each.model_copy(update=values) if each.name == name else each for each in self.photos
        )
        return self.with_(photos=photos)


class GuideFile:
    """The file in which a guide is kept; whole or not at all, by one thread at a time.

    Parameters
    ----------
    folder : Path
        Made when first written to; photos lie in it, too.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.photos = folder / "photos"
        self._path = folder / "guide.json"
        self._lock = threading.RLock()

    def load(self) -> Guide:
        """Return the guide; a new one where none is kept, or what is kept cannot be read."""
        with self._lock:
            try:
                return Guide.model_validate_json(read_whole(self._path))
            except (OSError, ValueError):  # of which pydantic's errors are, and refusals
                return Guide()

    @property
    def begun(self) -> bool:
        """Whether a guide is kept."""
        return self._path.is_file()

    def change(self, change: Callable[[Guide], Guide]) -> Guide:
        """Keep the guide that a change makes of the one that is kept; return it."""
        with self._lock:
            changed = change(self.load())
            self.folder.mkdir(parents=True, exist_ok=True)
            write_whole(self._path, changed.model_dump_json(indent=1) + "\n")
            return changed
