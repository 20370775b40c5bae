"""Make the pictures of the README and of docs/: ``python sample_images/make_pictures.py [FOLDER]``.

The light in them is what the program's own commands write; the virtual press of the demo
(`chalkbeam.simulator`) stands under it. Takes about two minutes on one core.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
from PIL import Image

from calibration.targets.cards import layout
from chalkbeam.cli.app import app
from chalkbeam.placement.platens import platen
from chalkbeam.simulator import demo
from chalkbeam.simulator.rig import VirtualRig, render_photo
from chalkbeam.simulator.rig.arrays import U8
from chalkbeam.simulator.rig.scene import PressScene, RoomLight, lay_cards
from chalkbeam.simulator.rig.sensor import Sensor
from chalkbeam.simulator.rig.stage import SAMPLE_PHOTOS, bystander, sample_rig, show

HERE = Path(__file__).parent
PLATEN = platen(demo.PLATEN)
FIRST = ("--style", "crew-tee", "--size", "M", "--location", "centre-chest",
         "--text", "Tern Harbour", "--width", "8in")  # fmt: skip
"""The first garment of the README."""
WIDTH = 900
"""Of every picture, px."""
QUALITY = 82
GAP = 8
PALE = (245, 245, 245)
ROOM = RoomLight(level=1.0, tint=(0.95, 1.0, 1.03), lamp=(-0.5, 0.5, 1.0), gradient=(-0.35, 0.25))


def chalkbeam(*words: str | Path) -> None:
    """Run a command of the program."""
    app([str(word) for word in words], standalone_mode=False)


def save(folder: Path, name: str, picture: U8) -> None:
    """Write a picture, BGR, as a small JPEG."""
    image = Image.fromarray(picture[..., ::-1])
    image.thumbnail((WIDTH, WIDTH * 2), Image.Resampling.LANCZOS)
    image.save(folder / name, quality=QUALITY, optimize=True)
    print(f"{name}: {image.width} x {image.height}, {(folder / name).stat().st_size / 1e3:.0f} kB")


def beside(pictures: Sequence[U8], height: int) -> U8:
    """Return pictures of one height in a row, with a pale gap between them."""
    scaled = [
        cv2.resize(each, (round(each.shape[1] * height / each.shape[0]), height),
                   interpolation=cv2.INTER_AREA)
        for each in pictures
    ]  # fmt: skip
    gap = np.full((height, GAP, 3), PALE, np.uint8)
    parts = [part for each in scaled for part in (gap, each)][1:]
    return np.asarray(np.hstack(parts), np.uint8)


def seen(
    scene: PressScene, white: float, rig: VirtualRig | None = None, frame: U8 | None = None
) -> U8:
    """Return what somebody at the press sees of a scene; `white` is the light taken for white."""
    stand = replace(bystander(), focal=1380.0)
    sensor = Sensor(blur=0.6, vignette=0.3, white=white)
    return render_photo(scene, stand, sensor, rig.projector if rig else None, frame, seed=1)


def aimed(rig: VirtualRig) -> U8:
    """Return the bare platen under a projector's picture that covers it with a little to spare."""
    width, height = rig.projector.view.size
    desk = np.full((height, width, 3), (215, 200, 185), np.uint8)
    cv2.rectangle(desk, (0, 0), (width - 1, height - 1), (255, 255, 255), 20)
    scene = PressScene(face=rig.face, cover=False, room=replace(ROOM, level=0.3))
    return seen(scene, 0.17, rig, desk)


def laid(rig: VirtualRig) -> U8:
    """Return the four cards on the bare platen, as the operator sees them."""
    prints = lay_cards(layout(rig.face))
    return seen(PressScene(face=rig.face, prints=prints, cover=False, room=ROOM), 0.85)[:, 350:1250]


def page(path: Path) -> U8:
    """Return the first page of a PDF as a picture with a thin edge."""
    with pypdfium2.PdfDocument(path) as document:
        picture = np.ascontiguousarray(document[0].render(scale=1.6).to_numpy()[..., :3])
    cv2.rectangle(picture, (0, 0), (picture.shape[1] - 1, picture.shape[0] - 1), (170,) * 3, 2)
    return picture


def photos(folder: Path) -> U8:
    """Return the sample photos, upright as a phone shows them: three sides, and the board."""
    return beside([cv2.imread(str(folder / name)) for name in SAMPLE_PHOTOS], 480)


def first_light(rig: VirtualRig, frames: Sequence[U8]) -> U8:
    """Return the README's first garment, a white tee, under the load and the lay light."""
    cloth = demo.lay_cloth(demo.light_up(demo.ORDER[0]))
    return beside([show(rig, PLATEN, cloth, each)[:, 260:1340] for each in frames], 700)


def main(folder: Path) -> None:
    """Write every picture."""
    folder.mkdir(parents=True, exist_ok=True)
    truth = sample_rig()
    with tempfile.TemporaryDirectory() as scratch:
        work = Path(scratch)
        rig = demo.calibrate(demo.samples(), work)
        chalkbeam("cards", "--platen", demo.PLATEN, "--out", work / "cards.pdf")
        chalkbeam("project", "--rig", work / "rig.json", *FIRST, "--check", "--png", work)

        def light(name: str) -> U8:
            return np.asarray(cv2.imread(str(work / f"{name}.png")), np.uint8)

        save(folder, "aim.jpg", aimed(truth))
        save(folder, "cards.jpg", beside([page(work / "cards.pdf"), laid(truth)], 760))
        save(folder, "photos.jpg", photos(demo.samples()))
        save(folder, "report.jpg", light("report"))
        save(folder, "check.jpg", show(truth, PLATEN, None, light("check"))[200:1020, 380:1220])
        steps = [light(f"1-centre-chest-{step}") for step in ("load", "lay")]
        save(folder, "first-light.jpg", first_light(truth, steps))
        for name, piece in (("left-chest.jpg", demo.ORDER[0]), ("hood.jpg", demo.ORDER[2])):
            lit = demo.light_up(piece)
            frame = demo.frames(lit, rig.projector)["lay"]
            save(folder, name, demo.view(truth, lit, demo.lay_cloth(lit), frame))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "pictures")
