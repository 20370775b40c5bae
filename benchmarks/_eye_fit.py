"""Surface points through a fitted eye: exact rigs and erring ones, with a board or without."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from benchmarks import _second_press as second
from benchmarks._eye_shop import ask, middle_and_high
from benchmarks._second_press.__main__ import pictures
from benchmarks._second_press.lens import of_plain

# What the file's projector may be off by: rx ry rz, radians, and tx ty tz, mm; `write_rig` states
# the same.
MAP_ERROR = np.array([2e-4, 2e-4, 1e-4, 0.15, 0.15, 0.4])


def fit(asked: argparse.Namespace, place: Path) -> None:
    """Measure surface points through the fitted eye: exact rigs and erring ones, board or none."""
    rng = np.random.default_rng(asked.seed)
    rows: dict[tuple[bool, bool], list[tuple[list[float], list[bool]]]] = {}
    for number in range(asked.seed // 10, asked.seed // 10 + asked.scenes):
        press = second.press(number)
        shop = place / f"press-{number}"
        for errs in (False, True):
            rig = shop / f"rig-{errs}.json"
            rig.parent.mkdir(exist_ok=True)
            error = rng.normal(0, MAP_ERROR) if errs else None
            second.write_rig(press, rig, error)
            ask("eye", "patterns", "--rig", rig, "--out", shop / f"burst-{errs}")
            frames = pictures(shop / f"burst-{errs}")
            bursts = [
                _photographed(second.scene(number * 10, kind, scale=asked.scale, at=press),
                              frames, shop / f"{kind}-{errs}")
                for kind in ("empty", "raised")
            ]  # fmt: skip
            for board in (False, True):
                words = ("eye", "fit", bursts[0], *(("--raised", "10mm", bursts[1]) * board))
                code, out, wrong = ask(*words, "--rig", rig, "--out", shop / "fit.json", "--json")
                if code:
                    print(f"  press {number}: {wrong.strip()[-200:]}")
                    continue
                told, own = json.loads(out), json.loads((shop / "fit.json").read_text())["rig"]
                eye = of_plain(tuple(own["eye"]["size"]), own["eye"]["camera"])
                light = of_plain(tuple(own["projector"]["size"]), own["projector"]["pinhole"])
                camera = press.camera.scaled(asked.scale)
                off = _off_at(
                    press, eye, light, camera, [each["height_mm"] for each in told["heights"]]
                )
                held = [
                    o <= each["within_mm"] for o, each in zip(off, told["heights"], strict=True)
                ]
                bound = [each["within_mm"] for each in told["heights"]]
                rows.setdefault((errs, board), []).append((off + bound, held))
                if asked.each:
                    print(f"  {number} rig errs {errs}, board {board}: {np.round(off + bound, 3)}")
    print("surface points by the fitted eye, worst of the platen, mm: 50 % / 95 % of presses")
    for (errs, board), some in rows.items():
        low, high, bound, other = np.array([each for each, _ in some]).T
        held = np.array([each for _, each in some]).mean(axis=0)
        what = f"rig {'errs' if errs else 'exact'}, {'board' if board else 'no board'}"
        print(
            f"  {what}: n {len(some)}"
            f"  at 0 mm {middle_and_high(list(low))}, bound {middle_and_high(list(bound))}, held"
            f" {held[0]:4.0%}  at 20 mm {middle_and_high(list(high))}, bound"
            f" {middle_and_high(list(other))}, held {held[1]:4.0%}"
        )


def _photographed(scene: second.Scene, frames: dict[str, Any], folder: Path) -> Path:
    folder.mkdir()
    for frame, photo in second.burst(scene, frames).items():
        cv2.imwrite(str(folder / f"{frame}.jpg"), photo, [cv2.IMWRITE_JPEG_QUALITY, 97])
    return folder


def _off_at(press: Any, eye: Any, light: Any, camera: Any, heights: list[float]) -> list[float]:
    """Return how far surface points seem to be from where they are, at worst, mm, by height."""
    half = np.array([press.plate.width, press.plate.depth]) / 2 - 5
    x, y = np.meshgrid(*(np.linspace(-h, h, 9) for h in half))
    worst = []
    for up in heights:
        points = np.stack([x, y, np.full_like(x, up)], axis=-1)
        seen = np.concatenate([camera.see(points)[0], press.projector.see(points)[0]], axis=-1)
        out = points.astype(float).copy()
        for _ in range(6):  # Gauss and Newton over four coordinates, three unknowns, per point

            def both(at: Any) -> Any:
                return np.concatenate([eye.see(at)[0], light.see(at)[0]], axis=-1)

            now = both(out)
            j = np.stack([(both(out + 2 * a) - now) / 2 for a in np.eye(3)], axis=-1).astype(float)
            jt = np.swapaxes(j, -1, -2)
            out += np.linalg.solve(jt @ j, jt @ (seen - now)[..., None].astype(float))[..., 0]
        worst.append(float(np.linalg.norm(out - points, axis=-1).max()))
    return worst
