"""How to move the garment, in words."""

from __future__ import annotations

import math

from calibration.geometry import Isometry

_ENOUGH = 1.0  # less than this is not worth moving, mm
_ENOUGH_TURN = 0.3  # degrees


def how_to_move(lies: Isometry, wanted: Isometry) -> str:
    """Say how the operator brings a garment to where it is wanted.

    Parameters
    ----------
    lies, wanted : Isometry
        platen_from_garment, as seen and as planned.

    Returns
    -------
    str
        Such as "turn 1.5 degrees right, 6 mm to you"; "leave it" where nothing is worth moving.
    """
    turn = math.degrees(math.remainder(wanted.angle - lies.angle, 2 * math.pi))
    right, away = wanted.x - lies.x, wanted.y - lies.y
    parts = []
    if abs(turn) >= _ENOUGH_TURN:
        parts.append(f"turn {abs(turn):.1f} degrees {'left' if turn > 0 else 'right'}")
    if abs(right) >= _ENOUGH:
        parts.append(f"{abs(right):.0f} mm {'right' if right > 0 else 'left'}")
    if abs(away) >= _ENOUGH:
        parts.append(f"{abs(away):.0f} mm {'away from you' if away > 0 else 'to you'}")
    return ", ".join(parts) or "leave it"
