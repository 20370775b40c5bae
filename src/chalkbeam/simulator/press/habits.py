"""How somebody works at the press, and what goes wrong there."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Habits:
    """How somebody works.

    Attributes
    ----------
    askew : (mm, degrees)
        How far off the planned load garments are laid, standard deviations.
    off : (mm, degrees)
        How far off its target a transfer is laid.
    smooths : float
        How often the press is closed on the bare garment first.
    hasty : float
        How often the press is opened too soon.
    presses_again : float
        How often a pressed piece is pressed a second time before it is taken away.
    lingers : float
        How often a hand stays on the platen for some seconds.
    reacts : float
        From seeing something to a hand over the platen, s.
    peels : float
        From the press counted to a hand on the carrier, s.
    """

    askew: tuple[float, float] = (9.0, 2.0)
    off: tuple[float, float] = (0.6, 0.25)
    smooths: float = 0.3
    hasty: float = 0.03
    presses_again: float = 0.15
    lingers: float = 0.1
    reacts: float = 0.6
    peels: float = 1.2


@dataclass(frozen=True)
class Mishaps:
    """How often things go wrong, a piece or an imprint.

    Attributes
    ----------
    wrong_size, wrong_colour, wrong_face : float
        Another piece than the order says is laid first.
    far_off : float
        A transfer is laid `far` off first.
    far : float
        mm.
    hand : float
        A hand stays over the platen beside the laid transfer until the eye says so.
    light : float
        The room's light is switched while a garment is measured.
    shadow : float
        A shadow falls on the platen and stays.
    unseen : float
        The camera is covered while the press closes and opens.
    early : float
        The press is closed before the transfer could be looked at.
    """

    wrong_size: float = 0.0
    wrong_colour: float = 0.0
    wrong_face: float = 0.0
    far_off: float = 0.0
    far: float = 4.0
    hand: float = 0.0
    light: float = 0.0
    shadow: float = 0.0
    unseen: float = 0.0
    early: float = 0.0


NONE = Mishaps()

MANY = Mishaps(0.07, 0.05, 0.03, 0.2, 4.0, 0.08, 0.12, 0.12, 0.06, 0.05)
"""More than a shop would live with."""
