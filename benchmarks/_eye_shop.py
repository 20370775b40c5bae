"""A shop with a press of the second kind, and the program asked about it by its command line."""

from __future__ import annotations

import argparse
import contextlib
import dataclasses
import io
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock

import cv2
import numpy as np

from benchmarks import _second_press as second
from benchmarks._second_press.__main__ import pictures

Told = dict[str, Any]


class NotThere(Exception):
    """A part of the eye that this program does not have yet."""


def ask(*words: str | Path) -> tuple[int, str, str]:
    """Give one command line to the program; return its exit code and both outputs.

    In this process: starting another for each of hundreds of scenes would cost as much as reading.
    """
    from chalkbeam.cli.app import main as run

    out, wrong, code = io.StringIO(), io.StringIO(), 0
    given = mock.patch.object(sys, "argv", ["chalkbeam", *map(str, words)])
    with given, contextlib.redirect_stdout(out), contextlib.redirect_stderr(wrong):
        try:
            run()
        except SystemExit as ended:
            code = ended.code if isinstance(ended.code, int) else int(ended.code is not None)
    if code == 2 and "No such command" in wrong.getvalue():
        raise NotThere(" ".join(map(str, words[:2])))
    return code, out.getvalue(), wrong.getvalue()


class Shop:
    """One press with its files: rig, burst, the fitted eye; made as they are asked for."""

    def __init__(
        self, number: int, place: Path, scale: float, *, above: bool = False, boards: bool = True
    ) -> None:
        self.number, self.place, self.scale = number, place / f"press-{number}", scale
        self.press = second.press(number)
        if above:
            self.press = second.from_above(self.press)
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
            shop = Shop(number, place, asked.scale, above=asked.camera == "above")
            yield shop, [number * 10 + k for k in range(count)]
        except RuntimeError as error:
            print(f"  not fitted: {error}", flush=True)
        made += count
        number += 1


def middle_and_high(errors: list[float]) -> str:
    """Return the median and 95 % point of errors as text."""
    if not errors:
        return "     -      "
    return "{:5.2f} /{:6.2f}".format(*np.percentile(np.abs(errors), [50, 95]))
