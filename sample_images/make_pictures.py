"""Make the README's pictures out of what `make demo` wrote: smaller, as JPEG.

Usage: python sample_images/make_pictures.py [demo-out]
"""

from __future__ import annotations

import sys
from pathlib import Path

from PIL import Image

PICTURES = {
    "1-tee-left-chest-lay.png": "left-chest.jpg",
    "2-tee-full-back-load.png": "load.jpg",
    "3-hood-upper-back-lay.png": "hood.jpg",
    "report.png": "report.jpg",
}
WIDTH = 1200


def main(demo: Path) -> None:
    """Write `sample_images/pictures` anew from the demo's folder."""
    to = Path(__file__).parent / "pictures"
    to.mkdir(exist_ok=True)
    for source, name in PICTURES.items():
        picture = Image.open(demo / source).convert("RGB")
        picture.thumbnail((WIDTH, WIDTH * 2), Image.Resampling.LANCZOS)
        picture.save(to / name, quality=85, optimize=True)


if __name__ == "__main__":
    main(Path(sys.argv[1] if len(sys.argv) > 1 else "demo-out"))
