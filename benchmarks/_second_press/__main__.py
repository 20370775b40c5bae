"""Write the second press's pictures: ``python -m benchmarks._second_press``.

First ``--write-rig --rig R --seed N`` makes the rig file of a seed's own press. Then, with the
pictures that the product shows in one burst (a folder with burst.json), ``--rig R --burst DIR
--seed N --out DIR`` photographs them on the bare platen (fit, and empty for later), on a board
that is 10 mm high (raised) and on a garment (loaded), and writes what is true as truth.json.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

import cv2
import numpy as np

from benchmarks._second_press import KINDS, burst, press, press_of_rig, scene, write_rig
from benchmarks._second_press.shots import U8


def pictures(folder: Path) -> dict[str, U8]:
    """Return the pictures of a burst by name, as burst.json names them."""
    named = json.loads((folder / "burst.json").read_text())["pictures"]
    found = {each["name"]: cv2.imread(str(folder / each["file"])) for each in named}
    missing = [name for name, picture in found.items() if picture is None]
    if missing:
        raise ValueError(f"{folder} lacks {', '.join(missing)}")
    return {name: np.asarray(picture, np.uint8) for name, picture in found.items()}


def main(arguments: list[str] | None = None) -> int:
    """Run the command line."""
    ask = argparse.ArgumentParser(prog="python -m benchmarks._second_press")
    ask.add_argument("--rig", type=Path, required=True)
    ask.add_argument("--seed", type=int, default=0)
    ask.add_argument("--write-rig", action="store_true")
    ask.add_argument(
        "--wrong-by", type=float, nargs=6, help="the rig file's error: rx ry rz tx ty tz"
    )
    ask.add_argument("--burst", type=Path)
    ask.add_argument("--out", type=Path)
    ask.add_argument("--kind", choices=KINDS, default="plain")
    ask.add_argument("--scale", type=float, default=1.0)
    ask.add_argument("--only", nargs="*", choices=["fit", "empty", "raised", "loaded"])
    asked = ask.parse_args(arguments)
    if asked.write_rig:
        error = None if asked.wrong_by is None else np.array(asked.wrong_by)
        write_rig(press(asked.seed // 10), asked.rig, error)
        return 0
    if asked.burst is None or asked.out is None:
        ask.error("name the burst's folder and where to write")
    # A rig that this press wrote may be wrong on purpose: then the truth is not in the file.
    name = json.loads(asked.rig.read_text())["rig"]["name"]
    own = name == f"second press {asked.seed // 10}"
    where = press(asked.seed // 10) if own else press_of_rig(asked.rig, asked.seed // 10)
    frames = pictures(asked.burst)
    for part in asked.only or ("fit", "empty", "raised", "loaded"):
        kind = {"loaded": asked.kind, "raised": "raised"}.get(part, "empty")
        seed = asked.seed + (500_000 if part == "empty" else 0)
        one = scene(seed, kind, scale=asked.scale, at=where)
        folder = asked.out / part
        folder.mkdir(parents=True, exist_ok=True)
        for frame, photo in burst(one, frames).items():
            cv2.imwrite(str(folder / f"{frame}.jpg"), photo, [cv2.IMWRITE_JPEG_QUALITY, 97])
        (folder / "truth.json").write_text(json.dumps(one.truth, indent=1) + "\n")
        if one.laid is not None:
            art = cv2.cvtColor(one.laid.art, cv2.COLOR_RGBA2BGRA)
            cv2.imwrite(str(folder / "art.png"), art)
    return 0


if __name__ == "__main__":
    sys.exit(main())
