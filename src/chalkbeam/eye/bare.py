"""The bare platen before the fixed camera: what a fit of the eye goes by, and what it found."""

from __future__ import annotations

import math

from calibration.model.eye import Eye
from calibration.rig.eye import EyeView, bounds
from calibration.rig.file import Rig
from chalkbeam.eye.burst import Burst
from chalkbeam.eye.crossings import crossings


def bare_view(burst: Burst, name: str, raised: float, rig: Rig) -> EyeView:
    """Return what a burst of the bare platen tells a fit.

    Parameters
    ----------
    burst : Burst
    name : str
        For messages.
    raised : float
        Height of the board that lies on it, mm; 0 for none.
    rig : Rig
    """
    dotted = burst.light("dots").mean(axis=2) if burst.has("dots") else None
    return EyeView(
        name,
        burst.picture("pattern"),
        burst.picture("dark"),
        burst.picture("white"),
        dotted,
        raised,
        crossings(burst, rig.projector),
    )


def fit_words(rig: Rig, eye: Eye) -> list[str]:
    """Return where the eye stands and how surely it measures, a sentence each."""
    x, y, z = eye.camera.lens
    view = math.degrees(2 * math.atan(eye.size[0] / 2 / eye.camera.focal))
    limits = bounds(rig, eye)
    within = ", ".join(f"{bound:.2f} mm at {height:g} mm height" for height, bound in limits)
    return [
        f"{rig.name}: the camera stands {x:.0f} mm to the right, {y:.0f} mm back and {z:.0f} mm "
        f"above the platen's middle and sees {view:.0f}° across; {eye.points} points of light "
        f"scatter by {eye.noise:.2f} px.",
        *eye.fixed_by,
        f"A point of the surface is measured within (95 %) {within}, the projector's own error "
        "included.",
    ]
