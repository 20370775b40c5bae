"""Where each unknown of a calibration stands in one long vector."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from calibration.model.pinhole import INTRINSIC, PARAMETERS, POSE

Indices = NDArray[np.intp]

N_LENS, N_POSE, N_PINHOLE = len(INTRINSIC), len(POSE), len(PARAMETERS)
N_PHOTO_INTRINSICS = 3  # focal length (relative), principal point x, y
N_CARD_POSE = 3  # x, y, turn
N_BOW = 3
N_BEND = 2
N_EDGES = 4


@dataclass(frozen=True)
class Layout:
    """Where each unknown stands in the long vector.

    In this order:

    - each camera's intrinsics (9);
    - each photo's camera pose (6);
    - by how much each photo's intrinsics differ from its camera's (relative focal length,
      principal point x, y), since focusing and stabilisation move the lens;
    - the projector (15);
    - at each level, the pose of each card against its planned place (x, y, turn);
    - at each level, the pose of the spacer under the cards (x, y, turn);
    - at each level, the bow of the face (3), then at each level the error of its height;
    - the print scale less 1;
    - the bend of the projector's picture (2, see `projector.bend`);
    - how much farther out than stated each of the platen's edges is seen (4).

    A *level* is a stated height of the cards: the bare platen, or a spacer board on it.
    """

    cameras: int
    photos: int
    levels: int
    cards: int

    def camera(self, index: int) -> slice:
        """Return where the intrinsics of a camera stand."""
        return _block(0, index, N_LENS)

    def pose(self, photo: int) -> slice:
        """Return where a photo's camera pose stands."""
        return _block(N_LENS * self.cameras, photo, N_POSE)

    def photo_intrinsics(self, photo: int) -> slice:
        """Return where a photo's differences from its camera's intrinsics stand."""
        return _block(self.pose(self.photos).start, photo, N_PHOTO_INTRINSICS)

    @cached_property
    def projector(self) -> slice:
        """Where the projector's 15 parameters stand."""
        return _block(self.photo_intrinsics(self.photos).start, 0, N_PINHOLE)

    def card_pose(self, level: int, card: int) -> slice:
        """Return where a card's pose at a level stands."""
        return _block(self.projector.stop, level * self.cards + card, N_CARD_POSE)

    def spacer_pose(self, level: int) -> slice:
        """Return where the pose of a level's spacer stands."""
        return _block(self.card_pose(self.levels, 0).start, level, N_CARD_POSE)

    def bow(self, level: int) -> slice:
        """Return where the bow of a level's face stands."""
        return _block(self.spacer_pose(self.levels).start, level, N_BOW)

    @cached_property
    def map(self) -> Indices:
        """Where the map's 20 parameters stand: the projector's, the bare platen's bow, the bend."""
        blocks = (self.projector, self.bow(0), self.bend)
        return np.concatenate([places_of(block) for block in blocks])

    def height_error(self, level: int) -> int:
        """Return where a level's height error stands."""
        return int(self.bow(self.levels).start) + level

    @cached_property
    def scale(self) -> int:
        """Where the print scale less 1 stands."""
        return self.height_error(self.levels)

    @cached_property
    def bend(self) -> slice:
        """Where the two terms of the picture's bend stand."""
        return _block(self.scale + 1, 0, N_BEND)

    @cached_property
    def edges(self) -> slice:
        """Where the offsets of the platen's edges stand, in the order of `observations.SIDES`."""
        return _block(self.bend.stop, 0, N_EDGES)

    @cached_property
    def size(self) -> int:
        """Length of the long vector."""
        return int(self.edges.stop)


def _block(start: int, index: int, width: int) -> slice:
    return slice(start + index * width, start + (index + 1) * width)


def places_of(block: slice) -> Indices:
    """Return the places of a block, shape (its width,)."""
    return np.arange(block.start, block.stop)
