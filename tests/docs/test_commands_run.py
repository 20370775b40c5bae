"""Every command that a page shows is run, page by page, in one folder, as a reader would.

The photos are the simulator's own from sample_images/, smaller, under the names that the pages
use; the displays are two that the dummy driver pretends. Windows are real ones under that driver
and are left with Escape, after their first picture where they light an imprint. Not carried
through are:

* a calibration of photos after the README's: it is answered with that one's result (twice the
  same photos would be solved again; pairs of photos are no sample);
* `--camera`, up to where the camera is opened, and `eye`, up to where a burst is;
* `page`, up to where it is served;
* `demo`, up to where it begins (`make demo` runs it whole).
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pygame
import pytest
from PIL import Image

from calibration.rig import from_photos
from chalkbeam.record.store import record_file
from chalkbeam.simulator import demo
from tests.support.keys import type_keys
from tests.support.pages import GUIDES, ROOT, Typed, files, typed
from tests.support.run_cli import run_program

PHOTOS = {
    "front": "flat-1", "left": "flat-2", "right": "flat-3", "board": "raised-10mm",
    "photo": "flat-2", "front-cards": "flat-1", "front-pattern": "flat-1",
    "left-cards": "flat-2", "left-pattern": "flat-2", "sleeve": "sleeve",
}  # fmt: skip
"""What a page calls a photo, and which of sample_images/ it is."""

DISPLAYS = [(1366, 768), (1920, 1080)]


class ReachedError(Exception):
    """The command has come as far as this test goes with it."""


def reach(*_: object, **__: object) -> Any:
    raise ReachedError


def half_as_large(photo: Path, to: Path) -> None:
    """Write a photo with half the pixels each way: found as well, in a third of the time."""
    with Image.open(photo) as opened:
        size = (opened.width // 2, opened.height // 2)
        opened.resize(size, Image.Resampling.BOX).save(to, quality=92, exif=opened.getexif())


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Make the folder in which the commands are run current, with the photos in it."""
    for name, sample in PHOTOS.items():
        half_as_large(ROOT / "sample_images" / f"{sample}.jpg", tmp_path / f"{name}.jpg")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pretend two displays, and go no farther with a command than the head of this file says."""
    set_mode = pygame.display.set_mode
    monkeypatch.setattr(pygame.display, "get_desktop_sizes", lambda: list(DISPLAYS))
    monkeypatch.setattr(pygame.display, "set_mode", lambda size, *_, **__: set_mode(size))
    # The page beside the light is a process of its own, with tests of its own.
    monkeypatch.setattr("chalkbeam.cli.run_at_press.several_displays", lambda: False)
    monkeypatch.setattr("chalkbeam.setup.camera.source.open_source", reach)
    monkeypatch.setattr("chalkbeam.eye.burst.read_burst", reach)
    monkeypatch.setattr(demo, "run", reach)
    monkeypatch.setattr("chalkbeam.web.server.PageServer", reach)
    monkeypatch.setattr("chalkbeam.paper.proof.sheet.PICTURE", 120)  # px: quick to draw
    monkeypatch.setattr(from_photos, "calibrate", once(from_photos.calibrate))


def once(solve: Callable[..., Any]) -> Callable[..., Any]:
    """Return a function that is called the first time and then gives the same answer."""
    answers: list[Any] = []

    def answer(shots: Any, *rest: Any) -> Any:
        assert all(Path(shot.path).is_file() for shot in shots)
        if not answers:
            answers.append(solve(shots, *rest))
        return answers[0]

    return answer


def written(command: Typed) -> Iterator[Path]:
    """Yield the files that a command is to write."""
    for option in ("--out", "--report", "--pdf", "--csv", "--png", "--ladder"):
        if option in command.words:
            yield Path(command.words[command.words.index(option) + 1])


LIGHT = ("project", "run")
CROSSES = (("crosses", "new"), ("crosses", "touch-up"), ("crosses", "platen"))


@pytest.mark.slow
def test_every_command_of_the_pages_runs(
    shop: Path, bench: None, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    failed = []
    for page in GUIDES:
        for name, content in files(page):
            (shop / name).write_text(content)
        for command in typed(page):
            if "damaged-record.db" in command.words:
                shutil.copy(record_file(), shop / "damaged-record.db")
            code, said = outcome(command, capsys, monkeypatch)
            left = command.words[:2] in CROSSES  # Escape makes no rig
            if code not in ((1,) if left else (0, "reached")):
                failed.append(f"{command}\n{said}")
            elif code == 0:
                failed += [
                    f"{command}: no {path}" for path in written(command) if not path.exists()
                ]
    assert not failed, "\n\n".join(failed)


def outcome(
    command: Typed, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> tuple[int | str, str]:
    """Run a command; return its exit code, or that it came far enough, and what it said."""
    escape = [pygame.K_ESCAPE] * 2
    with monkeypatch.context() as patched:
        lit = command.words[0] in LIGHT
        type_keys(patched, escape if lit else [], early=[] if lit else escape)
        try:
            code, out, err = run_program(capsys, patched, *command.words)
        except ReachedError:
            return "reached", ""
    return code, out + err
