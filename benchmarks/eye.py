"""What the fixed camera sees, measured against the second press: pose, transfer, height, colour.

Everything goes through the command line and files, as a shop far away would do it. Seeds of 5000
and more were never used to tune. Example:

    python -m benchmarks eye --what pose --scenes 40 --scale 0.5
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from benchmarks import _second_press as second
from benchmarks._second_press.__main__ import pictures
from benchmarks._second_press.lens import of_plain

WHAT = ("pose", "transfer", "height", "colour", "drift", "fit")
FIRST_SEED = 5000
_CLOTHS = ("plain", "heather", "stripes", "print")
_SHOWN = ("white", "natural", "red", "navy", "black")
Told = dict[str, Any]


class NotThere(Exception):
    """A part of the eye that this program does not have yet."""


def ask(*words: str | Path) -> tuple[int, str, str]:
    """Run one chalkbeam command; return its exit code and both outputs."""
    command = [sys.executable, "-m", "chalkbeam", *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=os.environ)
    if done.returncode == 2 and "No such command" in done.stderr:
        raise NotThere(" ".join(map(str, words[:2])))
    return done.returncode, done.stdout, done.stderr


class Shop:
    """One press with its files: rig, burst, the fitted eye; made as they are asked for."""

    def __init__(self, number: int, place: Path, scale: float, boards: bool = True) -> None:
        self.number, self.place, self.scale = number, place / f"press-{number}", scale
        self.press = second.press(number)
        self.place.mkdir(parents=True, exist_ok=True)
        self.rig, self.fitted = self.place / "rig.json", self.place / "fitted.json"
        second.write_rig(self.press, self.rig)
        self._do("eye", "patterns", "--rig", self.rig, "--out", self.place / "burst")
        self.frames = pictures(self.place / "burst")
        self.bare = second.scene(number * 10, "empty", scale=scale, at=self.press)
        self.photograph(self.bare, "fit")
        raised: tuple[str | Path, ...] = ()
        if boards:
            board = second.scene(number * 10, "raised", scale=scale, at=self.press)
            raised = ("--raised", "10mm", self.photograph(board, "raised"))
        rubber = second.srgb_code(self.press.rubber)
        words = ("eye", "fit", self.place / "fit", *raised, "--rig", self.rig)
        self._do(*words, "--platen-colour", rubber, "--out", self.fitted)
        # With the eye in the rig a burst is shorter: only the lines that tell it most.
        self._do("eye", "patterns", "--rig", self.fitted, "--out", self.place / "short")
        self.frames = pictures(self.place / "short")
        self.empty: Path | None = None

    def _do(self, *words: str | Path) -> None:
        code, _, wrong = ask(*words)
        if code == 2:
            raise RuntimeError(f"press {self.number}: {wrong.strip()[-300:]}")

    def photograph(self, scene: second.Scene, name: str) -> Path:
        """Write the photos of a burst over a scene; return their folder."""
        folder = self.place / name
        folder.mkdir(exist_ok=True)
        for frame, photo in second.burst(scene, self.frames).items():
            cv2.imwrite(str(folder / f"{frame}.jpg"), photo, [cv2.IMWRITE_JPEG_QUALITY, 97])
        return folder

    def read(self, scene: second.Scene, *more: str | Path, empty: Path | None = None) -> Told:
        """Return what the eye says of a scene; {"refused": sentence} where it refuses."""
        loaded = self.photograph(scene, "loaded")
        if empty is None:
            if self.empty is None:
                bare = dataclasses.replace(self.bare, seed=self.number * 10 + 500_000)
                self.empty = self.photograph(bare, "empty")
            empty = self.empty
        garment = scene.truth.get("garment", {"face": "front"})
        size = scene.truth.get("size", {"name": "M"})["name"]
        words = ("eye", "read", loaded, "--rig", self.fitted, "--empty", empty)
        words += ("--style", "crew_tee", "--size", size, "--face", garment["face"])
        code, out, wrong = ask(*words, *more, "--json")
        return {"refused": wrong.strip()[-200:]} if code == 2 else json.loads(out)


def shops(asked: argparse.Namespace, place: Path) -> Iterator[tuple[Shop, list[int]]]:
    """Yield presses with the seeds whose scenes take place there."""
    step = max(1, asked.per_press)
    made = 0
    number = asked.seed // 10
    while made < asked.scenes:
        count = min(step, 10, asked.scenes - made)
        try:
            yield Shop(number, place, asked.scale), [number * 10 + k for k in range(count)]
        except RuntimeError as error:
            print(f"  not fitted: {error}", flush=True)
        made += count
        number += 1


def middle_and_high(errors: list[float]) -> str:
    """Return the median and 95 % point of errors as text."""
    if not errors:
        return "     -      "
    return "{:5.2f} /{:6.2f}".format(*np.percentile(np.abs(errors), [50, 95]))


def pose(asked: argparse.Namespace, place: Path) -> None:
    kinds = asked.kinds or ["plain"]
    rows: dict[str, list[Told]] = {kind: [] for kind in kinds}
    for shop, seeds in shops(asked, place):
        for k, seed in enumerate(seeds):
            kind = kinds[(seed + k) % len(kinds)] if len(kinds) > 1 else kinds[0]
            scene = second.scene(seed, kind, scale=asked.scale, at=shop.press)
            told, true = shop.read(scene), scene.truth["garment"]
            if asked.each:
                print(f"  {seed} {kind} {told.get('garment', told)} true {true['neck_mm']}")
            row: Told = {"sure": False, "refused": told.get("refused")}
            found = told.get("garment")
            if found and found["seen"] and found["neck_mm"]:
                turn = found["centre_line_deg"] - true["centre_line_deg"]
                row |= {
                    "sure": found["sure"],
                    "neck": float(np.hypot(*np.subtract(found["neck_mm"], true["neck_mm"]))),
                    "lower": float(np.hypot(*np.subtract(found["lower_mm"], true["lower_mm"]))),
                    "turn": (turn + 180) % 360 - 180,
                    "face": found["face"] == true["face"],
                }
                half = told["size"]["half_chest_mm"]
                if half is not None:
                    row["chest"] = half - scene.truth["size"]["half_chest_mm"]
            rows[kind].append(row)
            _keep(asked.keep, {"seed": seed, "kind": kind, "scale": asked.scale} | row, told, scene)
    print(
        "errors 50 % / 95 %      n  sure    collar, mm    300 below, mm   turn, deg     chest, mm"
    )
    for kind, all_ in rows.items():
        for words, some in (("all", all_), ("sure", [r for r in all_ if r["sure"]])):
            seen = [r for r in some if "neck" in r]
            wrong = sum(r["sure"] and max(r["neck"], r["lower"]) > 5 for r in seen)
            cells = [
                middle_and_high([r[key] for r in seen if key in r])
                for key in ("neck", "lower", "turn", "chest")
            ]
            share = sum(r["sure"] for r in some) / max(1, len(some))
            print(
                f"{kind:10} {words:5} {len(some):7} {share:5.0%} ",
                "  ".join(cells),
                f"  over 5 mm though sure {wrong}, face wrong {sum(not r['face'] for r in seen)},"
                f" refused {sum(bool(r['refused']) for r in some)}",
            )


def _keep(file: Path | None, row: Told, told: Told, scene: second.Scene) -> None:
    """Add a scene's row to a file of JSON lines, with what lay there and what was said of it."""
    if file is None:
        return
    more = {
        "why": told.get("garment", {}).get("why"),
        "of": scene.truth["garment"]["face"],
        "colour": scene.truth["colour"]["name"],
        "bench": scene.press.bench,
        "size": scene.truth["size"]["name"],
    }
    with file.open("a") as out:
        out.write(json.dumps(row | more) + "\n")


def transfer(asked: argparse.Namespace, place: Path) -> None:
    rows: dict[tuple[str, str], list[Told]] = {}
    rng = np.random.default_rng(asked.seed)
    for shop, seeds in shops(asked, place):
        for seed in seeds:
            kind = second.SHEETS[seed % 4]
            colour = _SHOWN[(seed // 4) % len(_SHOWN)]
            angle = rng.uniform(0, 2 * np.pi)
            far = 2.0 if rng.random() < 0.5 else float(rng.uniform(0, 5))
            off = (far * np.cos(angle), far * np.sin(angle), float(rng.uniform(-2, 2)))
            scene = second.scene(
                seed,
                kind,
                scale=asked.scale,
                at=shop.press,
                face="front",
                colour=colour,
                laid_off=off,
            )
            assert scene.laid is not None
            art = shop.place / "art.png"
            cv2.imwrite(str(art), cv2.cvtColor(scene.laid.art, cv2.COLOR_RGBA2BGRA))
            true = scene.truth["transfer"]
            told = shop.read(
                scene,
                "--art",
                art,
                "--location",
                "full-front",
                "--width",
                f"{true['ink_size_mm'][0]:.2f}mm",
            )
            found = told.get("transfer") or {}
            if asked.each:
                print(f"  {seed} {kind} on {colour}: {found or told} true {true['off_mm']}")
            row: Told = {"verdict": found.get("verdict", "nothing")}
            if found.get("off_mm"):
                # Where the ink lies on the platen: the pose's own error is another row's.
                middle, turn = _target(told["garment"], true["ink_size_mm"][1], shop.press.plate)
                ink = middle + found["off_mm"]
                row["off"] = float(np.hypot(*(ink - true["ink_middle_mm"])))
                row["turn"] = found["turned_deg"] + turn - true["ink_turn_deg"]
                row["against"] = "pose" if told["garment"]["sure"] else "usual load"
                apart = np.hypot(*(np.array(true["ink_middle_mm"]) - middle))
                row["false"] = row["verdict"] == "good" and apart >= 2.0
            rows.setdefault((kind, colour), []).append(row)
    print(
        "errors 50 % / 95 %                    n  measured  off, mm       turn, deg    false good"
    )
    for (kind, colour), some in sorted(rows.items()):
        seen = [r for r in some if "off" in r]
        print(
            f"{kind:22} {colour:10} {len(some):5} {len(seen):5}     ",
            middle_and_high([r["off"] for r in seen]),
            "",
            middle_and_high([r["turn"] for r in seen]),
            f"  {sum(r.get('false', False) for r in some)}",
        )


def _target(garment: Told, high: float, plate: Any) -> tuple[Any, float]:
    """Return where the eye takes the ink's middle to belong, mm, and its turn, degrees.

    3 in below the neck seam on the centre line, by the pose if that is sure.
    """
    neck, turn = np.array([0.0, plate.depth / 2 + 12.7]), 0.0
    if garment["sure"]:
        neck, turn = np.array(garment["neck_mm"]), garment["centre_line_deg"]
    along = np.array([np.sin(np.radians(turn)), -np.cos(np.radians(turn))])
    return neck + along * (76.2 + high / 2), turn


def height(asked: argparse.Namespace, place: Path) -> None:
    rows: dict[str, list[float]] = {}
    unknown: dict[str, list[float]] = {}
    for shop, seeds in shops(asked, place):
        for seed in seeds:
            kind = ("plain", "wrinkles", "pad", "fold")[seed % 4]
            scene = second.scene(seed, kind, scale=asked.scale, at=shop.press)
            found = shop.read(scene).get("height")
            if not found:
                unknown.setdefault(kind, []).append(1.0)
                continue
            true = scene.truth["height"]
            off = _heights_off(found, true)
            rows.setdefault(kind, []).append(float(np.sqrt(np.nanmean(off**2))))
            unknown.setdefault(kind, []).append(float(np.isnan(off).mean()))
    print("height          n   rms in mm, 50 % / 95 % of scenes   not measured")
    for kind, missing in unknown.items():
        print(
            f"{kind:12} {len(missing):4}   {middle_and_high(rows.get(kind, []))}"
            f"                       {np.mean(missing):5.1%}"
        )


def _heights_off(found: Told, true: Told) -> Any:
    """Return heights found less true ones at the true grid's points; nan where not measured."""
    mm = np.array([[np.nan if v is None else v for v in row] for row in found["mm"]], np.float32)
    want = np.array([[np.nan if v is None else v for v in row] for row in true["mm"]], np.float32)
    y, x = np.mgrid[0 : want.shape[0], 0 : want.shape[1]].astype(np.float32)
    at = [
        (
            (grid * true["step_mm"] + true["origin_mm"][i] - found["origin_mm"][i])
            / found["step_mm"]
        ).astype(np.float32)
        for i, grid in enumerate((x, y))
    ]
    here = cv2.remap(mm, at[0], at[1], cv2.INTER_LINEAR, borderValue=float("nan"))
    return (here - want)[np.isfinite(want)]


def colour(asked: argparse.Namespace, place: Path) -> None:
    from skimage.color import deltaE_ciede2000

    errors: list[float] = []
    asked_for = 0
    for shop, seeds in shops(asked, place):
        for seed in seeds:
            scene = second.scene(seed, "plain", scale=asked.scale, at=shop.press)
            found = shop.read(scene).get("colour")
            asked_for += 1
            if found:
                errors.append(float(deltaE_ciede2000(found["lab"], scene.truth["colour"]["lab"])))
    print(
        f"colour: n {asked_for}, told {len(errors)}, CIEDE2000 50 % / 95 %: "
        f"{middle_and_high(errors)}"
    )


def drift(asked: argparse.Namespace, place: Path) -> None:
    told = {0.0: [0, 0], 1.0: [0, 0]}
    rng = np.random.default_rng(asked.seed)
    for shop, seeds in shops(asked, place):
        for k, seed in enumerate(seeds):
            far = float(k % 2)
            angle = rng.uniform(0, 2 * np.pi)
            # The projector slides along by what moves its light as far on the platen.
            lens = shop.press.projector
            slid = dataclasses.replace(
                lens, at=lens.at + far * np.array([np.cos(angle), np.sin(angle), 0])
            )
            moved = dataclasses.replace(shop.press, projector=slid)
            bare = second.scene(seed, "empty", scale=asked.scale, at=moved)
            loaded = second.scene(seed, "plain", scale=asked.scale, at=moved)
            said = shop.read(loaded, empty=shop.photograph(bare, "empty")).get("rig") or {}
            told[far][0] += 1
            told[far][1] += said.get("verdict") == "moved"
    for far, (n, number) in told.items():
        print(f"drift of {far:.0f} mm: told in {number} of {n}")


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


def main(arguments: list[str] | None = None) -> int:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--what", choices=[*WHAT, "all"], default="all")
    parser.add_argument("--scenes", type=int, default=10)
    parser.add_argument("--per-press", type=int, default=10, help="scenes on one press, at most 10")
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    parser.add_argument("--scale", type=float, default=1.0, help="of the camera's pictures")
    parser.add_argument("--kinds", nargs="*", choices=_CLOTHS)
    parser.add_argument("--keep", type=Path, help="file of JSON lines to add pose results to")
    parser.add_argument("--each", action="store_true", help="print every scene")
    asked = parser.parse_args(arguments)
    parts: dict[str, Callable[[argparse.Namespace, Path], None]] = {
        "pose": pose,
        "transfer": transfer,
        "height": height,
        "colour": colour,
        "drift": drift,
        "fit": fit,
    }
    for name in WHAT if asked.what == "all" else (asked.what,):
        print(
            f"-- {name}: seeds from {asked.seed}, {asked.scenes} scenes, pictures x {asked.scale}"
        )
        with tempfile.TemporaryDirectory() as place:
            try:
                parts[name](asked, Path(place))
            except NotThere as what:
                print(f"  not measured: this program has no “chalkbeam {what}” yet")
    return 0


if __name__ == "__main__":
    sys.exit(main())
