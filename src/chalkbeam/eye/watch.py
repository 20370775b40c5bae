"""What the fixed camera sees of the work, picture by picture: what `steps` goes by.

Pictures are compared by blocks. What the projector shows is known, so that its light is no
movement: what was remembered is remembered light by light, and where it was seen under another
light only, blocks that lines of light cross say nothing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from calibration.geometry import Points
from calibration.rig.eye import eye_of
from calibration.rig.file import Rig
from chalkbeam.eye.beam import Beam
from chalkbeam.eye.blocks import (
    COLUMNS,
    STIRS,
    U8,
    Blocks,
    Mask,
    block_rows,
    blocks_of,
    by_light_alone,
    count_of,
    differing,
    gain_between,
    share_of,
)
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.faults import FaultWatch
from chalkbeam.eye.sights import Sight

STILL = 0.5
"""Nothing may have moved for so long, s."""

SETTLED = 0.3
"""The same for a transfer, from which the hands are gone, s: any movement cancels its flash."""

_MOVES = 3  # blocks that differ from moment to moment before something moves
_BARE = 0.06  # share of the platen's blocks that may differ from the bare one
_CLEAR = 0.2  # share of the blocks just beside it that may: cloth hangs there
_LAID = 0.5  # share of them that must, for cloth to lie there
_SAME = 0.012  # share that may differ from the loaded one
_KNOWN = 0.35  # share of the target's blocks that must be clear of lines of light
_HIDDEN = 0.7  # share of the platen that differs when it is hidden: its near edge may show
_HIDDEN_BESIDE = 0.12  # and of what is beside it: the head stands higher than any sheet
_OTHERWISE = 7.0  # codes by which a block looks otherwise by the projector's light alone
_ELSEWHERE = 5  # blocks together that changed beside the target, before the garment is read again
_OUTLINE = 25  # blocks beside the platen that change when a garment lies otherwise
_AROUND = 25.0  # mm about the target in which a transfer may lie
_RIM = 6.0  # mm about a print that was pressed, in which its carrier may have left a mark
_JUMP = 1.25  # gain from picture to picture that no shop's light makes by itself


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


class _Memory:
    """How something looked, light by light, and which blocks of that count.

    Parameters
    ----------
    lit : callable
        Which blocks a picture of light lights, by its number.
    around : ndarray of bool
        Blocks to take the gain from, where there are enough of them.
    """

    def __init__(self, lit: Callable[[int], Mask], around: Mask) -> None:
        self._lit, self._around = lit, around
        self._seen: dict[int, tuple[Blocks, Mask]] = {}

    def __bool__(self) -> bool:
        return bool(self._seen)

    @property
    def lights(self) -> set[int]:
        return set(self._seen)

    def forget(self) -> None:
        self._seen = {}

    def keep(self, now: Blocks) -> None:
        """Remember how it looks in this light."""
        self._seen[now.light] = now, np.ones_like(self._around)

    def relearn(self, now: Blocks, same: Mask) -> None:
        """Remember how it looks now where it is known to be the same, whatever it looked like."""
        old = self._seen.pop(now.light, None)
        self._seen = {k: (blocks, valid & ~same) for k, (blocks, valid) in self._seen.items()}
        if old is None:
            self._seen[now.light] = now, same
            return
        blocks, valid = old
        colour = np.where(same[..., None], now.colour, blocks.colour)
        scatter = np.where(same, now.scatter, blocks.scatter)
        self._seen[now.light] = replace(now, colour=colour, scatter=scatter), valid | same

    def best_for(self, light: int) -> tuple[Blocks, Mask]:
        """Return what to hold a picture in some light against, and where that can be told."""
        if light in self._seen:
            return self._seen[light]

        def clear(entry: tuple[Blocks, Mask]) -> Mask:
            return entry[1] & ~(self._lit(light) | self._lit(entry[0].light))

        best = max(self._seen.values(), key=lambda entry: int(clear(entry).sum()))
        return best[0], clear(best)

    def against(self, now: Blocks) -> tuple[Mask, Mask]:
        """Return which blocks differ, and of which that can be told."""
        other, known = self.best_for(now.light)
        around = known & self._around
        gain = gain_between(other, now, around if around.sum() > 30 else known)
        return differing(other, now, gain) & known, known


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
        shape = self._shape = block_rows(width, height), COLUMNS
        size = width / COLUMNS
        y, x = np.mgrid[: shape[0], : shape[1]]
        pixels = np.column_stack([x.ravel(), y.ravel()]) * size + (size - 1) / 2
        at = eye.camera.unproject(pixels).reshape(*shape, 2)
        half = np.array([rig.face.width, rig.face.depth]) / 2
        beyond = np.where(np.isfinite(at), np.abs(at) - half, 1e6).max(axis=-1)
        self._at, self._beyond = at, beyond
        self._on: Mask = beyond < -0.5 * size  # on the platen, clear of its edge
        self._beside: Mask = (beyond > 0.5 * size) & (beyond < 80.0)
        self._near: Mask = beyond < 250.0
        around: Mask = beyond > 100.0
        self._beam = Beam(rig, eye.camera, pixels, beyond < 0.5 * size)
        self._faults = FaultWatch(self._on, around)
        self._bare, self._loaded = (_Memory(self._beam.lit, around) for _ in range(2))
        self._past: deque[Blocks] = deque(maxlen=64)
        self._reach: Mask = np.ones(shape, np.bool_)
        self._undisturbed = self._waits = self._calm = False

    @property
    def knows_bare(self) -> bool:
        """Whether the bare platen is remembered."""
        return bool(self._bare)

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
        past = {each.light for each in self._past}
        self._beam.show(frame, at, self._bare.lights | self._loaded.lights | past)

    def aims_at(self, corners: Points | None, *, but: Sequence[Points] = ()) -> None:
        """Say where a transfer is to lie.

        Parameters
        ----------
        corners : ndarray, shape (N, 2), optional
            Platen frame, mm; None: anywhere.
        but : sequence of ndarray
            Corners of prints that are there already: what is seen there is no transfer.
        """
        self._reach = np.ones(self._shape, np.bool_)
        if corners is not None:
            self._reach &= self._within(corners, _AROUND)
        for each in but:
            self._reach &= ~self._within(each, _RIM)

    def remember_bare(self) -> None:
        """Remember what is seen now as the bare platen."""
        if self._past:
            self._bare.forget()
            self._bare.keep(self._past[-1])
            self.forget_loaded()

    def remember_loaded(self) -> None:
        """Remember what is seen now as the loaded garment, or once nothing moves any more.

        If nothing moves yet, what is seen last before something does is remembered at the latest:
        a quick hand may lay the next transfer within half a second.
        """
        self._loaded.forget()
        self._waits, self._calm = True, False
        if self._past:
            calm = self._calm_for(self._past[-1])
            self._calm = calm is not None
            if (calm or 0.0) >= STILL:
                self._take_loaded(self._past[-1])

    def _take_loaded(self, now: Blocks) -> None:
        self._loaded.keep(now)
        self._undisturbed, self._waits = True, False

    def forget_loaded(self) -> None:
        """Forget the garment: it is gone."""
        self._loaded.forget()
        self._waits = False

    def relearn_loaded(self, changed: Mask) -> None:
        """Remember how the garment looks by now, but for blocks where something lies on it.

        A shadow that fell on it, or light that was never seen on it before, is then nothing new.
        """
        if self._past and self._loaded:
            near = cv2.dilate(changed.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
            self._loaded.relearn(self._past[-1], ~near)

    # -- what it sees ----------------------------------------------------------------------

    def look(self, picture: U8, at: float) -> Glance:
        """Return what a picture tells, taken at a time on the same clock as the light, s."""
        now = blocks_of(picture, self._beam.light, at)
        changing = at < self._beam.since + self.delay
        bare = self._bare.best_for(now.light) if self._bare and not changing else None
        fault = self._faults.look(picture, now, bare)
        if fault is not None:
            return Glance(None, fault=fault)
        if changing:
            return Glance(None)  # of the light before, or while it changes
        calm = self._calm_for(now)
        moves, still = calm is None, (calm or 0.0) >= STILL
        if moves and self._waits and self._calm:
            self._take_loaded(self._past[-1])
        self._past.append(now)
        if not self._bare:
            return Glance(Sight.MOVING if moves else None, still)
        self._undisturbed = self._undisturbed and not moves
        if self._undisturbed and self._loaded and now.light not in self._loaded.lights:
            self._keep_in_new_light(now)
        if self._is_empty(now):
            if still:
                self._bare.keep(now)  # as it looks by now, and in this light
            self.forget_loaded()
            return Glance(Sight.EMPTY, still)
        if moves:
            return Glance(Sight.MOVING)
        if still and self._waits:
            self._take_loaded(now)
        if (calm or 0.0) < SETTLED:
            return Glance(None)
        sight = self._still_sight(now)
        return Glance(sight, True) if still or sight is Sight.SHEET else Glance(None)

    def moved_between(self, one: U8, other: U8) -> bool:
        """Whether anything moved between two pictures taken under the same light."""
        a, b = blocks_of(one), blocks_of(other)
        gain = gain_between(a, b, np.ones(self._shape, np.bool_))
        moved = count_of(differing(a, b, gain, STIRS)) >= _MOVES
        return moved or not 1 / _JUMP < gain < _JUMP

    def changed_between(self, before: Burst, now: Burst) -> Mask:
        """Return the blocks that look otherwise by the projector's light alone in two bursts.

        The room's light and its shadows are left out of it.
        """
        a, b = by_light_alone(before, now)
        return differing(a, b, gain_between(a, b, self._near), _OTHERWISE)

    @property
    def target(self) -> Mask:
        """Blocks on the platen where a transfer may be laid."""
        return self._on & self._reach

    def is_bare(self, changed: Mask) -> bool:
        """Whether so little changed that the platen is still bare."""
        return share_of(changed, self._on) < _BARE

    def hidden(self, changed: Mask) -> bool:
        """Whether so much changed that the platen is hidden."""
        beside = share_of(changed, self._beside) > _HIDDEN_BESIDE
        return share_of(changed, self._on) > _HIDDEN and beside

    def lies_otherwise(self, changed: Mask) -> bool:
        """Whether so much changed beside the platen that a garment's outline is another's."""
        return count_of(changed & self._near & ~self._on) >= _OUTLINE

    def changed_elsewhere(self, changed: Mask) -> bool:
        """Whether something changed that is no transfer at its target: the garment, or a hand."""
        count, names = cv2.connectedComponents(changed.astype(np.uint8), connectivity=8)
        target = self.target
        parts = (names == name for name in range(1, count))
        # Noise stands alone, block by block: only a part of some size is a thing.
        loose = (int((p & self._near).sum()) for p in parts if not (p & target).any())
        return any(size >= _ELSEWHERE for size in loose) or self.reaches_in(changed)

    def lies_at_target(self, changed: Mask) -> bool:
        """Whether what changed is on the platen about the target."""
        return count_of(changed & self._on & self._reach) >= 1

    def reaches_in(self, differs: Mask) -> bool:
        """Whether something comes in from the picture's edge to over the platen's."""
        count, names = cv2.connectedComponents(differs.astype(np.uint8), connectivity=8)
        for name in range(1, count):
            part = names == name
            edge = part[0].any() or part[-1].any() or part[:, 0].any() or part[:, -1].any()
            outside = (part & (self._beyond > 60.0)).any()
            if (edge or outside) and (part & self._on).any() and part.sum() >= _MOVES:
                return True
        return False

    def _within(self, corners: Points, margin: float) -> Mask:
        low, high = corners.min(axis=0) - margin, corners.max(axis=0) + margin
        with np.errstate(invalid="ignore"):
            return np.asarray(((self._at > low) & (self._at < high)).all(axis=-1))

    def _is_empty(self, now: Blocks) -> bool:
        differs, known = self._bare.against(now)
        on, beside = share_of(differs, self._on & known), share_of(differs, self._beside & known)
        return on < _BARE and beside < _CLEAR

    def _calm_for(self, now: Blocks) -> float | None:
        """Return for how long nothing has moved, s, about `STILL` at most; None if it does."""
        past = [each for each in self._past if each.light == now.light]
        recent = [each for each in past if each.at > now.at - STILL - 0.15]
        if not recent:
            return 0.0
        everywhere = np.ones(self._shape, np.bool_)
        chosen = {each.at: each for each in (recent[0], recent[len(recent) // 2], recent[-1])}
        for each in chosen.values():
            gain = gain_between(each, now, everywhere)
            jumped = each is recent[-1] and not 1 / _JUMP < gain < _JUMP
            if jumped or count_of(differing(each, now, gain, STIRS)) >= _MOVES:
                return None
        return now.at - recent[0].at

    def _still_sight(self, now: Blocks) -> Sight:
        if not self._loaded:
            differs, known = self._bare.against(now)
            shares = (share_of(differs, each & known) for each in (self._on, self._beside))
            return Sight.CLOTH if max(shares) >= _LAID else Sight.REACHING
        differs, known = self._loaded.against(now)
        on, beside = (share_of(differs, each & known) for each in (self._on, self._beside))
        if on > _HIDDEN and beside > _HIDDEN_BESIDE:
            return Sight.COVERED
        if self.reaches_in(differs):
            return Sight.REACHING
        target = self.target
        if (differs & target).any():
            return Sight.SHEET
        # Where lines of light cross all of the target nothing is told: it may lie there by now.
        told = self._undisturbed or share_of(known, target) > _KNOWN or not target.any()
        if not told:
            return Sight.SHEET
        moved = count_of(differs & self._near) >= _ELSEWHERE
        return Sight.SHIFTED if moved else Sight.LOADED

    def _keep_in_new_light(self, now: Blocks) -> None:
        """Remember the garment as it looks in new light, before anything comes over it."""
        differs, known = self._loaded.against(now)
        if share_of(differs, self._on & known) <= _SAME and not self.reaches_in(differs):
            self._loaded.keep(now)
