"""Line colours: time to choose them, and how far they stand out on every known cloth.

``python -m benchmarks.visibility``

*Faintest* is the smallest CIEDE2000 of any role from the cloth, *closest* the smallest
between roles that might be taken for each other, with the usual colours and the chosen ones.
"""

from __future__ import annotations

import time

import numpy as np

from chalkbeam.garments.fabrics import fabrics
from overlay.colour.visibility import Lighting, palette_for, role_visibilities
from overlay.marks import Role
from overlay.palette import DEFAULT_PALETTE, RGB, Palette


def worst(palette: Palette, cloth: RGB, light: Lighting) -> tuple[float, float]:
    seen = {
        r: s for r, s in role_visibilities(palette, cloth, light).items() if r is not Role.CHECK
    }
    return min(s.difference for s in seen.values()), min(s.apart for s in seen.values())


def main() -> None:
    for light in (Lighting(), Lighting(projector=1500.0, room=800.0)):
        rows, times = [], []
        for fabric in fabrics().values():
            begun = time.perf_counter()
            palette = palette_for(fabric.colour, light)
            times.append(time.perf_counter() - begun)
            usual = worst(DEFAULT_PALETTE, fabric.colour, light)
            rows.append((fabric.name, *usual, *worst(palette, fabric.colour, light)))
        print(f"projected white {light.projector:.0f} lux, room {light.room:.0f} lux")
        print("cloth            faintest: usual chosen   closest: usual chosen")
        for name, usual_faint, usual_close, faint, close in rows:
            print(f"{name:16} {usual_faint:15.1f} {faint:6.1f} {usual_close:16.1f} {close:6.1f}")
        table = np.array([row[1:] for row in rows])
        least = table.min(axis=0)
        print(
            f"{'worst of all':16} {least[0]:15.1f} {least[2]:6.1f} {least[1]:16.1f} {least[3]:6.1f}"
        )
        print(f"time to choose: median {np.median(times) * 1e3:.0f} ms\n")


if __name__ == "__main__":
    main()
