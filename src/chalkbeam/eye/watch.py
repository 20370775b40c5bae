"""What the fixed camera sees of the work, picture by picture: what `steps` goes by.

Pictures are compared by blocks, each a mean colour and a scatter, with the picture's gain taken
out: room light and automatic exposure change all blocks alike. What the projector shows is known,
so that its light is no movement: a new picture of light starts the comparison anew, and blocks that
lines of light cross say nothing against a picture remembered under another light.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import Points
from calibration.model.pinhole import Array
from calibration.rig.eye import eye_of
from calibration.rig.file import Rig
from chalkbeam.eye.sights import Sight

U8 = NDArray[np.uint8]
F32 = NDArray[np.float32]
Mask = NDArray[np.bool_]

STILL = 0.5
"""Nothing may have moved for so long, s."""

COLUMNS = 96
"""Blocks across the picture: about 12 mm each where the camera sees the platen well."""

_WIDTH = 480  # px of the picture that blocks are taken from
_DIFFERS = 5.0  # codes of 255, gain taken out, by which a block differs
_SCATTER = 4.0  # codes by which its scatter differs
_STIRS = 3.5  # codes by which it differs from moment to moment when something moves
_MOVES = 3  # blocks that differ from moment to moment before something moves
_BARE = 0.06  # share of the platen's blocks that may differ from the bare one
_CLEAR = 0.2  # share of the blocks just beside it that may: cloth hangs there
_LAID = 0.5  # share of them that must, for cloth to lie there
_SAME = 0.012  # share that may differ from the loaded one
_KNOWN = 0.35  # share of the target's blocks that must be clear of lines of light
_HIDDEN = 0.85  # share that differs when it is hidden
_AROUND = 0.6  # share of the surroundings that may differ while the platen is hidden
_ASTIR = 0.08  # share of them that differs when the camera has been moved
_FARTHEST = 16  # px of the small picture over which a moved camera is looked for
_PLAIN = 3.5  # codes by which blocks differ among themselves at least, with anything in view
_JUMP = 1.25  # gain from picture to picture that no shop's light makes by itself
_LIT = 6  # code of the projector's picture above which it lights
_ON_HEIGHTS = 0.0, 6.0, 14.0  # mm, at which light may meet something on the platen
_OFF_HEIGHTS = 0.0, -40.0, -80.0, -120.0, -160.0  # and beside it
_LIGHTS = 24  # pictures of light that are known again: those of a burst, and those about it
_DARKEST, _BRIGHTEST = 7.0, 250.0
_FROZEN = 1.5  # s
_BLIND_FOR = 1.0  # s that a fault must last before it is told

BLACK = (
    "The camera's picture is black: uncover it and see to the room's light; the keys work as ever."
)
COVERED = "The camera is covered: uncover it; the keys work as ever."
BRIGHT = (
    "The camera's picture of the platen is washed out: lower its exposure or the light in the "
    "room; the keys work as ever."
)
FROZEN = "The camera's picture stands still: plug it in again; the keys work as ever."
MOVED = (
    "The camera was moved: put it back or fit the rig's eye anew; till then the keys work as ever."
)


@dataclass(frozen=True, eq=False)
class Blocks:
    """A picture by blocks.

    Attributes
    ----------
    colour : ndarray, shape (rows, columns, 3), float32
        Mean codes, BGR.
    scatter : ndarray, shape (rows, columns), float32
        Standard deviation of grey within a block, codes.
    grey : ndarray, shape (h, w), float32
        The picture itself, small.
    light : int
        Which picture of light it was taken under.
    at : float
        When, s.
    """

    colour: F32
    scatter: F32
    grey: F32
    light: int
    at: float


@dataclass(frozen=True)
class Glance:
    """What one picture tells.

    Attributes
    ----------
    sight : Sight or None
        None while it is not known: just after the light changed, or nothing is remembered.
    still : bool
    fault : str
        Why the camera cannot be gone by, a sentence; empty if it can.
    """

    sight: Sight | None
    still: bool = False
    fault: str = ""


class PressWatch:
    """Watches the platen through the rig's eye.

    Parameters
    ----------
    rig : Rig
        With its eye.
    delay : float
        From a frame sent to the projector to its picture from the camera, s.
    """

    def __init__(self, rig: Rig, delay: float = 0.15) -> None:
        eye = eye_of(rig)
        self.delay = delay
        width, height = eye.size
        self._shape = max(2, round(COLUMNS * height / width)), COLUMNS
        size = width / COLUMNS
        y, x = np.mgrid[: self._shape[0], : self._shape[1]]
        pixels = np.column_stack([x.ravel(), y.ravel()]) * size + (size - 1) / 2
        at = eye.camera.unproject(pixels).reshape(*self._shape, 2)
        half = np.array([rig.face.width, rig.face.depth]) / 2
        beyond = np.where(np.isfinite(at), np.abs(at) - half, 1e6).max(axis=-1)
        self._at, self._beyond = at, beyond
        self._on: Mask = beyond < -0.5 * size  # on the platen, clear of its edge
        self._beside: Mask = (beyond > 0.5 * size) & (beyond < 80.0)
        self._around: Mask = beyond > 100.0
        falls = {
            h: _falls(rig, eye.camera.unproject(pixels, h), h)
            for h in (*_ON_HEIGHTS, *_OFF_HEIGHTS)
        }
        on = (beyond < 0.5 * size).ravel()
        self._falls = [(falls[h], on) for h in _ON_HEIGHTS]
        self._falls += [(falls[h], ~on) for h in _OFF_HEIGHTS]
        self._projector = rig.projector.size
        self._light, self._named, self._lit_at = 0, 0, -np.inf
        self._shown: list[tuple[int, U8 | None]] = []
        self._lit: dict[int, Mask] = {0: np.zeros(self._shape, np.bool_)}
        self._past: deque[Blocks] = deque(maxlen=64)
        self._raw: tuple[int, float] | None = None
        self._fault_since: tuple[str, float] | None = None
        self._bare: Blocks | None = None
        self._loaded: Blocks | None = None
        self._reach: Mask = np.ones(self._shape, np.bool_)
        self._undisturbed = False

    @property
    def knows_bare(self) -> bool:
        """Whether the bare platen is remembered."""
        return self._bare is not None

    # -- what it is told -------------------------------------------------------------------

    def lit_by(self, frame: U8 | None, at: float) -> None:
        """Say what the projector shows from now on, None for darkness.

        Parameters
        ----------
        frame : ndarray, shape (height, width, 3), uint8
            The very same array while nothing changes.
        at : float
            When it was sent, s.
        """
        if self._shown and frame is self._shown[-1][1]:
            return
        known = next((each for each in self._shown if each[1] is frame), None)
        if known is None:
            self._named += 1
            known = self._named, frame
            self._lit[self._named] = self._lit_blocks(frame)
        self._shown = [*(each for each in self._shown if each is not known), known][-_LIGHTS:]
        self._light, self._lit_at = known[0], at
        kept = {each.light for each in (self._bare, self._loaded, *self._past) if each is not None}
        kept |= {light for light, _ in self._shown}
        self._lit = {light: mask for light, mask in self._lit.items() if light in kept}

    def aims_at(self, corners: Points | None, around: float = 25.0) -> None:
        """Say where a transfer is to lie, by corners in the platen frame, mm; None: anywhere."""
        if corners is None:
            self._reach = np.ones(self._shape, np.bool_)
            return
        low, high = corners.min(axis=0) - around, corners.max(axis=0) + around
        with np.errstate(invalid="ignore"):
            self._reach = ((self._at > low) & (self._at < high)).all(axis=-1)

    def remember_bare(self) -> None:
        """Remember what is seen now as the bare platen."""
        if self._past:
            self._bare, self._loaded = self._past[-1], None

    def remember_loaded(self) -> None:
        """Remember what is seen now as the loaded garment."""
        if self._past:
            self._loaded, self._undisturbed = self._past[-1], True

    def forget_loaded(self) -> None:
        """Forget the garment: it is gone."""
        self._loaded = None

    # -- what it sees ----------------------------------------------------------------------

    def look(self, picture: U8, at: float) -> Glance:
        """Return what a picture tells, taken at a time on the same clock as the light, s."""
        now = self.blocks(picture, at)
        fault = self._fault(picture, now)
        if fault is not None:
            return Glance(None, fault=fault)
        if at < self._lit_at + self.delay:
            return Glance(None)  # of the light before, or while it changes
        still, moves = self._stillness(now)
        self._past.append(now)
        if self._bare is None:
            return Glance(Sight.MOVING if moves else None, still)
        self._undisturbed = self._undisturbed and not moves
        if self._undisturbed and self._loaded is not None and self._loaded.light != now.light:
            self._keep_in_new_light(now, self._loaded)
        on, beside = self._shares(now, self._bare)
        if on < _BARE and beside < _CLEAR:
            if still and self._bare.light != now.light:
                self._bare = now  # as it looks in this light
            self._loaded = None
            return Glance(Sight.EMPTY, still)
        if moves:
            return Glance(Sight.MOVING)
        return Glance(self._still_sight(now), True) if still else Glance(None)

    def blocks(self, picture: U8, at: float = 0.0) -> Blocks:
        """Return a picture by blocks."""
        height = round(_WIDTH * picture.shape[0] / picture.shape[1])
        if picture.shape[1] > _WIDTH:
            # Every other pixel first: a full mean of a large picture takes longer than it helps.
            step = max(1, picture.shape[1] // (2 * _WIDTH))
            picture = np.asarray(
                cv2.resize(picture[::step, ::step], (_WIDTH, height), interpolation=cv2.INTER_AREA),
                np.uint8,
            )
        size = self._shape[1], self._shape[0]
        grey = cv2.cvtColor(picture, cv2.COLOR_BGR2GRAY).astype(np.float32)
        colour = cv2.resize(picture, size, interpolation=cv2.INTER_AREA).astype(np.float32)
        mean = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
        square = cv2.resize(grey * grey, size, interpolation=cv2.INTER_AREA)
        scatter = np.sqrt(np.maximum(square - mean * mean, 0.0))
        small = cv2.resize(grey, (_WIDTH // 2, height // 2), interpolation=cv2.INTER_AREA)
        return Blocks(
            np.asarray(colour, np.float32), scatter, np.asarray(small, np.float32), self._light, at
        )

    def moved_between(self, one: U8, other: U8) -> bool:
        """Whether anything moved between two pictures taken under the same light."""
        a, b = self.blocks(one), self.blocks(other)
        gain = _gain(a, b, np.ones(self._shape, np.bool_))
        return (
            bool(_count(_differing(a, b, gain, _STIRS)) >= _MOVES) or not 1 / _JUMP < gain < _JUMP
        )

    def _stillness(self, now: Blocks) -> tuple[bool, bool]:
        """Return whether it has been still long enough, and whether something moves now."""
        past = [each for each in self._past if each.light == now.light]
        recent = [each for each in past if each.at > now.at - STILL - 0.15]
        if not recent:
            return False, False
        everywhere = np.ones(self._shape, np.bool_)
        chosen = {recent[0].at: recent[0], recent[len(recent) // 2].at: recent[len(recent) // 2],
                  recent[-1].at: recent[-1]}  # fmt: skip
        for each in chosen.values():
            gain = _gain(each, now, everywhere)
            jumped = each is recent[-1] and not 1 / _JUMP < gain < _JUMP
            if jumped or _count(_differing(each, now, gain, _STIRS)) >= _MOVES:
                return False, True
        return recent[0].at <= now.at - STILL, False

    def _still_sight(self, now: Blocks) -> Sight:
        if self._loaded is None:
            return Sight.CLOTH if max(self._shares(now, self._bare)) >= _LAID else Sight.REACHING
        differs, known = self._against(now, self._loaded)
        on = self._on & known
        share = _share(differs, on)
        if share > _HIDDEN:
            return Sight.COVERED
        # Where lines of light cross all of the target nothing is told: it may lie there by now.
        hidden = not self._undisturbed and not _mostly(known, self._on & self._reach)
        if share <= _SAME and not self._reaching(differs):
            return Sight.SHEET if hidden else Sight.LOADED
        if self._reaching(differs):
            return Sight.REACHING
        if (differs & self._on & self._reach).any():
            return Sight.SHEET
        return Sight.LOADED

    def _keep_in_new_light(self, now: Blocks, loaded: Blocks) -> None:
        """Remember the garment as it looks in new light, before anything comes over it."""
        differs, known = self._against(now, loaded)
        if _share(differs, self._on & known) <= _SAME and not self._reaching(differs):
            self._loaded = now

    def _reaching(self, differs: Mask) -> bool:
        """Whether something comes in from the picture's edge to over the platen's."""
        count, names = cv2.connectedComponents(differs.astype(np.uint8), connectivity=8)
        for name in range(1, count):
            part = names == name
            edge = part[0].any() or part[-1].any() or part[:, 0].any() or part[:, -1].any()
            outside = (part & (self._beyond > 60.0)).any()
            if (edge or outside) and (part & self._on).any() and part.sum() >= _MOVES:
                return True
        return False

    def _shares(self, now: Blocks, other: Blocks | None) -> tuple[float, float]:
        """Return which shares differ from a remembered picture, of the platen and beside it."""
        if other is None:
            return 1.0, 1.0
        differs, known = self._against(now, other)
        return _share(differs, self._on & known), _share(differs, self._beside & known)

    def _against(self, now: Blocks, other: Blocks) -> tuple[Mask, Mask]:
        """Return which blocks differ from a remembered picture, and of which that can be told."""
        known = np.ones(self._shape, np.bool_)
        if now.light != other.light:
            known = ~(self._lit[now.light] | self._lit[other.light])
        around = known & self._around
        gain = _gain(other, now, around if around.sum() > 30 else known)
        return _differing(other, now, gain) & known, known

    # -- faults ----------------------------------------------------------------------------

    def _fault(self, picture: U8, now: Blocks) -> str | None:
        """Return what is wrong with the picture; empty before it has been for a while."""
        fault = self._fault_now(now) or self._frozen(picture, now.at)
        if not fault:
            self._fault_since = None
            return None
        if self._fault_since is None or self._fault_since[0] != fault:
            self._fault_since = fault, now.at
        return fault if now.at >= self._fault_since[1] + _BLIND_FOR else ""

    def _fault_now(self, now: Blocks) -> str:
        level = now.colour.max(axis=2)
        if float(np.percentile(level, 90)) < _DARKEST:
            return BLACK
        if float((now.colour.min(axis=2)[self._on] > _BRIGHTEST).mean()) > 0.4:
            return BRIGHT
        if float(now.colour.mean(axis=2).std()) < _PLAIN:
            return BRIGHT if now.colour.mean() > 200 else COVERED
        if self._bare is None or now.at < self._lit_at + self.delay:
            return ""
        known = ~(self._lit[now.light] | self._lit[self._bare.light])
        around = known & self._around
        if around.sum() < 30:
            return ""
        differs = _differing(self._bare, now, _gain(self._bare, now, around))
        astir = _share(differs, around)
        if astir > _ASTIR and self._shifted(now):
            return MOVED
        if astir > _AROUND and _share(differs, self._on & known) > _HIDDEN:
            return COVERED
        return ""

    def _shifted(self, now: Blocks) -> bool:
        """Whether the picture is the remembered one from another place."""
        assert self._bare is not None
        one, other = (self._aside(each) for each in (self._bare, now))
        far = _FARTHEST
        fits = cv2.matchTemplate(other, one[far:-far, far:-far], cv2.TM_CCOEFF_NORMED)
        _, best, _, (x, y) = cv2.minMaxLoc(fits)
        stays = float(fits[far - 1 : far + 2, far - 1 : far + 2].max())
        return best > 0.3 and best > stays + 0.1 and max(abs(x - far), abs(y - far)) > 1

    def _aside(self, blocks: Blocks) -> F32:
        """Return the surroundings alone, about nought."""
        size = blocks.grey.shape[1], blocks.grey.shape[0]
        seen = cv2.resize(self._around.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
        grey = cv2.GaussianBlur(blocks.grey, (0, 0), 1.0)
        grey = grey - cv2.GaussianBlur(grey, (0, 0), 12.0)
        return np.asarray(np.where(seen, grey, 0.0), np.float32)

    def _frozen(self, picture: U8, at: float) -> str:
        """Tell a picture that comes again and again to the last bit: no camera takes two alike."""
        mark = hash(picture[::7, ::5].tobytes())
        if self._raw is None or self._raw[0] != mark:
            self._raw = mark, at
            return ""
        return FROZEN if at > self._raw[1] + _FROZEN else ""

    def _lit_blocks(self, frame: U8 | None) -> Mask:
        """Return which blocks the projector's picture may light."""
        lit = np.zeros(self._shape, np.bool_)
        if frame is None:
            return lit
        width, height = self._projector
        small = cv2.resize(frame, (width // 8, height // 8), interpolation=cv2.INTER_AREA)
        shows = cv2.dilate(small.max(axis=2), np.ones((5, 5), np.uint8)) > _LIT / 4
        for falls, where in self._falls:
            inside = (falls >= 0).all(axis=1) & (falls < (width // 8, height // 8)).all(axis=1)
            inside &= where
            hit = np.zeros(len(falls), np.bool_)
            hit[inside] = shows[falls[inside, 1], falls[inside, 0]]
            lit |= hit.reshape(self._shape)
        return lit


def _falls(rig: Rig, at: Points, height: float) -> NDArray[np.int64]:
    """Return which eighth pixels of the projector light platen points, shape (N, 2); or -1."""
    with np.errstate(all="ignore"):
        pixels: Array = rig.projector.projector_from_platen(at, height) / 8
    return np.asarray(np.where(np.isfinite(pixels) & (np.abs(pixels) < 1e5), pixels, -1), np.int64)


def _gain(one: Blocks, other: Blocks, where: Mask) -> float:
    """Return by how much the other picture is brighter: what most blocks agree on."""
    a, b = one.colour[where].sum(axis=1), other.colour[where].sum(axis=1)
    usable = (a > 24) & (b > 24) & (a < 735) & (b < 735)
    if usable.sum() < 10:
        return 1.0
    ratio = np.log(b[usable] / a[usable])
    counts, edges = np.histogram(ratio, bins=121, range=(-1.2, 1.2))
    smooth = np.convolve(counts, np.ones(3), "same")
    # Of equals the one nearest to no change at all.
    middle = (edges[:-1] + edges[1:]) / 2
    best = middle[int(np.argmax(smooth * np.exp(-(middle**2) / 0.5)))]
    near = np.abs(ratio - best) < 0.03
    return float(np.exp(np.median(ratio[near]))) if near.any() else 1.0


def _differing(one: Blocks, other: Blocks, gain: float, least: float = _DIFFERS) -> Mask:
    """Return which blocks differ between two pictures, gain taken out."""
    scale = np.float32(gain)
    expected = np.minimum(one.colour * scale, 255)
    clipped = (expected.max(axis=2) > 240) & (other.colour.max(axis=2) > 235)
    by = np.abs(other.colour - expected).max(axis=2)
    # A bright block's code follows the gain less exactly: tone curves bend.
    limit = least + 0.35 * abs(gain - 1.0) * expected.max(axis=2)
    rough = np.abs(other.scatter - one.scatter * scale) > _SCATTER + 0.25 * one.scatter
    return np.asarray(((by > limit) | rough) & ~clipped)


def _share(differs: Mask, where: Mask) -> float:
    """Return which share differs of some blocks; 0 of none."""
    return float(differs[where].mean()) if where.any() else 0.0


def _mostly(known: Mask, where: Mask) -> bool:
    """Tell whether enough of some blocks is known."""
    return not where.any() or float(known[where].mean()) > _KNOWN


def _count(differs: Mask) -> int:
    """Return how many differing blocks have another beside them: noise stands alone."""
    beside = cv2.filter2D(differs.astype(np.float32), -1, np.ones((3, 3), np.float32))
    return int((differs & (beside >= 1.5)).sum())
