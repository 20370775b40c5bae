"""What the fixed camera sees, measured against the second press: pose, transfer, height, colour.

Everything goes through the command line and files, as a shop far away would do it. Seeds of 5000
and more were never used to tune. Example:

    python -m benchmarks eye --what pose --scenes 40 --scale 0.5
"""

from __future__ import annotations

import argparse
import dataclasses
import json
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from benchmarks import _second_press as second
from benchmarks._eye_fit import fit
from benchmarks._eye_shop import NotThere, Told, ask, middle_and_high, shops

WHAT = ("pose", "transfer", "height", "colour", "drift", "fit")
FIRST_SEED = 5000
_CLOTHS = ("plain", "heather", "stripes", "print")
_SHOWN = ("white", "natural", "red", "navy", "black")


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
            rows[kind].append(row | _beside(told, scene.truth))
            _keep(
                asked.keep,
                {"seed": seed, "kind": kind, "scale": asked.scale} | rows[kind][-1],
                told,
                scene,
            )
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
        for key, words in (("colour_off", "colour, CIEDE2000"), ("height", "height, rms in mm")):
            errors = [r[key] for r in all_ if key in r]
            print(f"{'':10} {words}: {middle_and_high(errors)}, n {len(errors)}")


def _beside(told: Told, true: Told) -> Told:
    """Return how far off colour (CIEDE2000) and heights (rms, mm) are that are told beside."""
    row: Told = {}
    if told.get("colour"):
        row["colour_off"] = colour_off(told["colour"]["lab"], true["colour"]["lab"])
    if told.get("height"):
        off = _heights_off(told["height"], true["height"])
        row["height"] = float(np.sqrt(np.nanmean(off**2)))
    return row


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
            wide = f"{true['ink_size_mm'][0]:.2f}mm"
            print_ = ("--art", art, "--location", "full-front", "--width", wide)
            told = shop.read(scene, *print_)
            found = told.get("transfer") or {}
            row: Told = {"verdict": found.get("verdict", "nothing")}
            if found.get("off_mm"):
                # Where the ink lies on the platen: the pose's own error is another row's.
                middle, turn = _target(told["garment"], _placed(scene, *print_), shop.press.plate)
                ink = middle + found["off_mm"]
                row["off"] = float(np.hypot(*(ink - true["ink_middle_mm"])))
                row["turn"] = found["turned_deg"] + turn - true["ink_turn_deg"]
                row["against"] = "pose" if told["garment"]["sure"] else "usual load"
                apart = np.hypot(*(np.array(true["ink_middle_mm"]) - middle))
                row["false"] = row["verdict"] == "good" and apart >= 2.0
            if asked.each:
                print(f"  {seed} {kind} on {colour}: {row} {found.get('why', told)}", flush=True)
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


def _placed(scene: second.Scene, *words: str | Path) -> tuple[float, float]:
    """Return where the program places the ink's middle on the garment, garment frame, mm."""
    size = scene.truth["size"]["name"]
    _, out, _ = ask("place", "--style", "crew_tee", "--size", size, *words, "--json")
    there = json.loads(out)["garment_from_art"]
    return float(there["x_mm"]), float(there["y_mm"])


def _target(garment: Told, placed: tuple[float, float], plate: Any) -> tuple[Any, float]:
    """Return where the eye takes the ink's middle to belong, mm, and its turn, degrees.

    By the pose if that is sure, else by the usual load.
    """
    neck, turn = np.array([0.0, plate.depth / 2 + 12.7]), 0.0
    if garment["sure"]:
        neck, turn = np.array(garment["neck_mm"]), garment["centre_line_deg"]
    c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    right, down = np.array([c, s]), np.array([s, -c])
    return neck + right * placed[0] + down * placed[1], turn


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


def colour_off(found: list[float], true: list[float]) -> float:
    """Return CIEDE2000 between two colours in CIELAB, by scikit-image."""
    from skimage.color import deltaE_ciede2000

    return float(deltaE_ciede2000(found, true))


def colour(asked: argparse.Namespace, place: Path) -> None:
    errors: list[float] = []
    asked_for = 0
    for shop, seeds in shops(asked, place):
        for seed in seeds:
            scene = second.scene(seed, "plain", scale=asked.scale, at=shop.press)
            found = shop.read(scene).get("colour")
            asked_for += 1
            if found:
                errors.append(colour_off(found["lab"], scene.truth["colour"]["lab"]))
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


def main(arguments: list[str] | None = None) -> int:
    """Run what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--what", choices=[*WHAT, "all"], default="all")
    parser.add_argument("--scenes", type=int, default=10)
    parser.add_argument("--per-press", type=int, default=10, help="scenes on one press, at most 10")
    parser.add_argument("--seed", type=int, default=FIRST_SEED)
    parser.add_argument("--scale", type=float, default=1.0, help="of the camera's pictures")
    parser.add_argument(
        "--camera",
        choices=["beside", "above"],
        default="beside",
        help="where it stands: beside the press by chance, or above it as the program advises",
    )
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
