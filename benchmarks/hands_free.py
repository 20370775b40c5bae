"""A shift rehearsed before the press's camera: how much of it needs no key.

    python -m benchmarks.hands_free --pieces 20
    python -m benchmarks.hands_free --pieces 20 --read rendered

Tees, hoodies and polos, in colours and sizes by the seed, a fifth of the tees with a name and a
number; and more goes wrong than a shop would live with (`habits.MANY`): wrong pieces, transfers
4 mm off, a hand left, the light switched, a shadow that moves, presses that the camera did not see,
presses closed before the transfer was looked at.

What is rendered: every picture of the camera, at 480 x 270 px, coarsely (flat layers in the
projector's light, noise, delay, automatic exposure in a quarter of the shifts). Bursts are shown
and filmed, too, and what changed is taken from them; where things lie is taken from the stage with
a stated error (garment 0.8 mm and 0.25 degrees, sure in 65 %, read in 1.3 s; transfer 0.25 mm and
0.12 degrees, in 0.7 s). Time is that of the camera's pictures; what the program itself takes to
look at one is not in it. With `--read rendered` a garment is read for good, from a burst that the
second press renders at the camera's full size (`_rendered_reader`): half a minute of processor
time a reading, and nothing stated but the transfers.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks._eye_shop import Shop
from benchmarks._rendered_reader import RenderedReader
from calibration.rig.file import load
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.record.events import Event, Kind
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.simulator.press.film import Film, FilmedBy
from chalkbeam.simulator.press.habits import MANY, NONE, Mishaps
from chalkbeam.simulator.press.rehearsal import Rehearsal
from chalkbeam.simulator.press.stage import Stage
from chalkbeam.simulator.press.work import PressWorker
from chalkbeam.station.controller import StationController
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.ready_imprint import ImprintPreparer
from tests.support.crew_order import write_pennant
from tests.support.filmed_press import rig_with_eye

COLOURS = ("navy", "white", "red", "black", "heather grey", "royal")
SIZES = ("S", "M", "L", "XL")
STYLES = {
    "crew_tee": (("full-front", 220.0), ("left-chest", 90.0), ("full-back", 240.0)),
    "pullover_hood": (("centre-chest", 200.0), ("full-back", 240.0)),
    "placket_shirt": (("left-chest", 80.0), ("upper-back", 200.0)),
}
DWELL = 8.0
MOST = 150.0
"""Seconds a piece after which a rehearsal is given up: what is not done then is not right."""


def pieces(count: int, folder: Path, rng: np.random.Generator) -> list[Piece]:
    """Return mixed pieces: a fifth of the tees with two imprints at which the garment stays."""
    art = folder / "pennant.png"
    write_pennant(art)
    press = PressSettings(time="8 s", dwell=DWELL)
    found = []
    for row in range(2, count + 2):
        file = Art(ArtKind.FILE, art.name, art)
        style = str(rng.choice(list(STYLES), p=(0.6, 0.2, 0.2)))
        places = STYLES[style]
        place, width = places[int(rng.integers(len(places)))]
        imprints = [Imprint(f"{row}-1/1", place, file, width, press=press)]
        if style == "crew_tee" and rng.random() < 0.2:
            name = Art(ArtKind.NAME, "MARIT")
            imprints = [Imprint(f"{row}-1/1", "player-name", name, press=press),
                        Imprint(f"{row}-1/2", "player-number", Art(ArtKind.NUMBER, "7"),
                                follows=f"{row}-1/1", press=press)]  # fmt: skip
        colour, size = str(rng.choice(COLOURS)), str(rng.choice(SIZES))
        found.append(Piece(f"{row}-1", row, 1, 1, style, size, colour, tuple(imprints)))
    return found


@dataclass(frozen=True)
class Rehearsed:
    """What came of a rehearsal."""

    imprints: tuple[str, ...]
    events: tuple[Event, ...]
    worker: PressWorker
    shift: Rehearsal

    def _keys(self) -> str:
        causes = ", ".join(f"{why} {n}" for why, n in self.worker.keys_for.most_common())
        return f"{self.worker.keys}" + (f" ({causes})" if causes else "")

    def report(self) -> str:
        """Return it in lines."""
        pressed = [each for each in self.events if each.kind is Kind.PRESSED]
        names = [event.imprint for event in pressed]
        by_eye = sum("closed_s" in event.data.get("seen", {}) for event in pressed)
        made = self.worker.pressed
        right = sum(names.count(name) == 1 and made.count(name) == 1 for name in self.imprints)
        happened, noticed = self.worker.happened, self.worker.noticed
        rows = [
            ("right", right),
            ("counted twice", sum(names.count(name) > 1 for name in set(names))),
            ("pressed twice", sum(made.count(name) > 1 for name in set(made))),
            ("counted but not pressed", sum(made.count(name) == 0 for name in names)),
            ("pressed but not counted", sum(names.count(name) == 0 for name in made)),
            ("counted by the eye", f"{by_eye}; by an answer {len(pressed) - by_eye}"),
            ("asked whether pressed", self.shift.eye.questions),
            ("keys pressed", self._keys()),
            ("transfers off as pressed", f"{max(self.worker.off, default=0.0):.1f} mm at most"),
        ]
        told = ("transfer 4 mm off", "wrong size", "wrong colour", "wrong face", "hand left")
        rows += [(what, f"{noticed[what]} told of {happened[what]}") for what in told]
        rows += [(what, n) for what, n in sorted(happened.items()) if what not in told]
        if isinstance(self.shift.reader, RenderedReader):
            rows += [(f"garments read {how}", n) for how, n in self.shift.reader.said.items()]
        for what, words in (
            ("light", "garment still to light"),
            ("verdict", "transfer to verdict"),
        ):
            times = self.worker.waited[what]
            if times:
                middle, most = np.percentile(times, [50, 95])
                rows.append((words, f"{middle:.1f} s, 95 % {most:.1f} s, n = {len(times)}"))
        return "\n".join(f"  {name:<25} {value}" for name, value in rows)


def rehearse(
    count: int, seed: int, mishaps: Mishaps, folder: Path, rendered: bool = False
) -> Rehearsed:
    """Rehearse a shift."""
    rng, rig, reader = np.random.default_rng(seed), rig_with_eye(), None
    if rendered:
        shop = Shop(seed, folder, 1.0)
        rig = load(shop.fitted)

        def reader(stage: Callable[[], Stage]) -> RenderedReader:
            return RenderedReader(stage, np.random.default_rng(seed), shop.press, shop.frames)

    planned = plan(pieces(count, folder, rng), Times(), fit_on_press, as_listed=True)
    store = Store(folder / "record.db")
    run = store.begin(planned, title="rehearsal", sheet=folder / "none.csv", digest="")
    session, output = open_session(store, run), FrameCache()
    controller = StationController(session, ImprintPreparer([rig]), output)
    wide, high = rig.eye.size
    by = FilmedBy(size=(480, round(480 * high / wide)), exposes_itself=seed % 4 == 0)
    film = Film(rig.eye.camera, rig.eye.size, rig.projector, rig.face, by, seed)
    worker = PressWorker(controller, controller.take, rng, mishaps=mishaps)
    shift = Rehearsal(controller, output, film, rig, worker, seed=seed, reader=reader)
    shift.run(count * MOST)
    wanted = tuple(stop.imprint.id for stop in planned.stops)
    return Rehearsed(wanted, tuple(store.events(run)), worker, shift)


def main() -> None:
    """Rehearse and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pieces", type=int, default=20)
    parser.add_argument("--seed", type=int, default=5000)
    parser.add_argument("--calm", action="store_true", help="let nothing go wrong")
    parser.add_argument("--read", choices=["stated", "rendered"], default="stated")
    options = parser.parse_args()
    began = time.process_time()
    with tempfile.TemporaryDirectory() as place:
        mishaps, rendered = NONE if options.calm else MANY, options.read == "rendered"
        found = rehearse(options.pieces, options.seed, mishaps, Path(place), rendered)
    print(f"{options.pieces} pieces, {len(found.imprints)} imprints, seed {options.seed}:")
    print(found.report())
    print(f"  {found.shift.at / 60:.1f} min of work in {time.process_time() - began:.0f} s of CPU")


if __name__ == "__main__":
    main()
