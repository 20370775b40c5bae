"""A shift rehearsed before the press's camera: how much of it needs no key.

    python -m benchmarks.hands_free --pieces 20

What is rendered: every picture of the camera, at 480 x 270 px and 12 a second, coarsely (flat
layers in the projector's light, noise, delay, automatic exposure in a quarter of the shifts): what
tells movement, covering and emptiness works on those. Bursts are shown and filmed, too, but what
they tell is taken from the stage with a stated error (garment 0.8 mm and 0.25 degrees,
sure in 88 %; transfer 0.25 mm and 0.12 degrees): reading bursts is measured by benchmarks/eye.py.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

import numpy as np

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.record.events import Kind
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.simulator.press.film import Film, FilmedBy
from chalkbeam.simulator.press.rehearsal import Rehearsal
from chalkbeam.simulator.press.work import PressWorker
from chalkbeam.station.controller import StationController
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.ready_imprint import ImprintPreparer
from tests.support.crew_order import write_pennant
from tests.support.filmed_press import rig_with_eye

COLOURS = ("navy", "white", "red", "black", "heather grey", "royal")
SIZES = ("S", "M", "L", "XL")
DWELL = 8.0
MOST = 150.0
"""Seconds a piece after which a rehearsal is given up: what is not done then is not right."""


def pieces(count: int, folder: Path, rng: np.random.Generator) -> list[Piece]:
    """Return mixed pieces: a fifth with two imprints at which the garment stays."""
    art = folder / "pennant.png"
    write_pennant(art)
    press = PressSettings(time="8 s", dwell=DWELL)
    found = []
    for row in range(2, count + 2):
        file = Art(ArtKind.FILE, art.name, art)
        places = [("full-front", 220.0), ("left-chest", 90.0), ("full-back", 240.0)]
        place, width = places[int(rng.integers(3))]
        imprints = [Imprint(f"{row}-1/1", place, file, width, press=press)]
        if rng.random() < 0.2:
            name = Art(ArtKind.NAME, "MARIT")
            imprints = [Imprint(f"{row}-1/1", "player-name", name, press=press),
                        Imprint(f"{row}-1/2", "player-number", Art(ArtKind.NUMBER, "7"),
                                follows=f"{row}-1/1", press=press)]  # fmt: skip
        colour, size = str(rng.choice(COLOURS)), str(rng.choice(SIZES))
        found.append(Piece(f"{row}-1", row, 1, 1, "crew_tee", size, colour, tuple(imprints)))
    return found


def main() -> None:
    """Rehearse and print what came of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pieces", type=int, default=20)
    parser.add_argument("--seed", type=int, default=5000)
    options = parser.parse_args()
    rng = np.random.default_rng(options.seed)
    rig, began = rig_with_eye(), time.process_time()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        planned = plan(pieces(options.pieces, folder, rng), Times(), fit_on_press, as_listed=True)
        store = Store(folder / "record.db")
        run = store.begin(planned, title="rehearsal", sheet=folder / "none.csv", digest="")
        session, output = open_session(store, run), FrameCache()
        controller = StationController(session, ImprintPreparer([rig]), output)
        by = FilmedBy(size=(480, 270), exposes_itself=options.seed % 4 == 0)
        film = Film(rig.eye.camera, rig.eye.size, rig.projector, rig.face, by, options.seed)
        worker = PressWorker(controller, controller.take, rng)
        shift = Rehearsal(controller, output, film, rig, worker, seed=options.seed)
        shift.run(options.pieces * MOST)
        pressed = [e for e in store.events(run) if e.kind is Kind.PRESSED]
        names = [event.imprint for event in pressed]
        wanted = [stop.imprint.id for stop in planned.stops]
        by_eye = sum("closed_s" in event.data.get("seen", {}) for event in pressed)
        by_key = len(pressed) - by_eye
        made = worker.pressed
        right = sum(names.count(name) == 1 and made.count(name) == 1 for name in wanted)
        told = sum("Move it" in said for said in worker.told)
    print(f"{options.pieces} pieces, {len(wanted)} imprints, seed {options.seed}:")
    print(f"  right                    {right}")
    print(f"  counted twice            {sum(names.count(name) > 1 for name in wanted)}")
    print(f"  counted but not pressed  {sum(made.count(name) == 0 for name in names)}")
    print(f"  pressed but not counted  {sum(names.count(name) == 0 for name in made)}")
    print(f"  counted by the eye       {by_eye}; by an answer {by_key}")
    print(f"  questions asked          {shift.eye.questions}")
    print(f"  keys pressed             {worker.keys} (answers, proposals confirmed)")
    print(f"  transfers told to move   {told} of {len(worker.told)} readings")
    print(f"  {shift.at / 60:.1f} min of work in {time.process_time() - began:.0f} s of CPU")


if __name__ == "__main__":
    main()
