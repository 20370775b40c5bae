"""What the tests ask of an observation: how far its corners are from the truth."""

import numpy as np

from calibration.targets.pattern import Pattern


def card_errors(bench, observation):
    """Px from where the bench's camera truly sees each card corner, shape (N, 2)."""
    cards = {card.name: card.corners() for card in bench.cards}
    places = np.array([cards[corner.board][corner.index] for corner in observation.cards])
    return np.array([corner.pixel for corner in observation.cards]) - bench.camera_pixels(places)


def pattern_errors(bench, observation):
    """Px from where the bench's camera truly sees each pattern corner, shape (N, 2)."""
    indices = [corner.index for corner in observation.pattern]
    lit = bench.platen_of_projector(Pattern(bench.projector_size).pixels(indices))
    return np.array([corner.pixel for corner in observation.pattern]) - bench.camera_pixels(lit)


def rms(errors):
    return float(np.sqrt(np.mean(np.square(errors))))
