"""How fast imprints are placed: one by one, a large order, and how that grows.

The order is invented: a regatta's tees and hooded tops in every size, a crest on
the left chest, a picture on the back, and a name and a number for every piece.
``python -m benchmarks placement``
"""

from __future__ import annotations

import argparse
import functools
import random
import time
from collections.abc import Callable, Iterator

from chalkbeam.artwork import Artwork, letter
from chalkbeam.garments import Age, garment, sizes
from chalkbeam.light.marks import lay_marks, load_marks
from chalkbeam.locations import location
from chalkbeam.placement import Placement, Placer, Request, foot_of, place
from chalkbeam.placement.loading import load
from chalkbeam.placement.platens import platen

CREW = ["PYKE", "OKAFOR", "MOREAU", "LINDQVIST", "HARRIS", "TANAKA", "ABARA", "NOWAK", "SILVA"]
STYLES = ("crew_tee", "pullover_hood")


def seconds(work: Callable[[], object]) -> float:
    """Return the processor's seconds for one thread of work: other programs do not count."""
    start = time.process_time()
    work()
    return time.process_time() - start


def order(pieces: int, seed: int = 1) -> Iterator[tuple[str, str, int]]:
    """Yield style, size and number of each piece."""
    rng = random.Random(seed)
    every = [(style, size) for style in STYLES for size in sizes(style) if "T" not in size]
    for _ in range(pieces):
        style, size = rng.choice(every)
        yield style, size, rng.randrange(100)


SPOTS = ("left-chest", "upper-back", "player-name", "player-number")


@functools.cache
def lettered(words: str) -> Artwork:
    return letter(words, height=50)


@functools.cache
def art_for(words: str, spot: str, age: Age) -> Artwork:
    """Return lettering in the location's usual size for an age."""
    art = lettered(words)
    return art.scaled(location(spot).usual_scale(age, art.ink.width, art.ink.height))


def plan_order(pieces: int) -> tuple[int, int]:
    """Place four imprints on every piece; return how many, and how many were different."""
    spots = {name: location(name) for name in SPOTS}
    cut = functools.cache(garment)
    placer, feet, placed = Placer(), {}, 0
    for index, (style, size, number) in enumerate(order(pieces)):
        piece, name = cut(style, size), CREW[index % len(CREW)]
        words = dict(zip(SPOTS, ("ROW", "TERN HARBOUR", name, str(number)), strict=True))
        arts = {spot: art_for(text, spot, piece.age) for spot, text in words.items()}
        above = placer.place(Request(piece, spots["player-name"], arts["player-name"]))
        key = (style, size, name)
        if key not in feet and isinstance(above, Placement):
            feet[key] = foot_of(above)
        for spot in SPOTS:
            under = feet.get(key) if spot == "player-number" else None
            answer = placer.place(Request(piece, spots[spot], arts[spot], under))
            placed += isinstance(answer, Placement)
    return placed, len(placer)


def plan_each_different(pieces: int) -> None:
    """Place one imprint on pieces that are all measured anew and all bear another name."""
    spot = location("player-name")
    for index in range(pieces):
        piece = garment("crew_tee", "L", measured={"half_chest": 540.0 + 0.001 * index})
        place(piece, spot, letter(f"{CREW[index % len(CREW)]} {index}", height=25))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pieces", type=int, default=10_000)
    options = parser.parse_args()
    art, spot, plate = letter("ROW", width=89), location("left-chest"), platen("16x20in")
    pieces = [garment("crew_tee", size) for size in sizes("crew_tee")]
    for piece in pieces:
        place(piece, spot, art)
    count = 2000
    took = seconds(lambda: [place(pieces[i % len(pieces)], spot, art) for i in range(count)])
    print(f"placements, nothing remembered: {count / took:8.0f} a second")
    placed = place(pieces[0], spot, art)
    took = seconds(lambda: [load(placed, plate) for _ in range(200)])
    print(f"loading on a platen:            {200 / took:8.0f} a second")
    loading = load(placed, plate)
    took = seconds(
        lambda: [(load_marks(placed, loading), lay_marks(placed, loading)) for _ in range(20)]
    )
    print(f"both steps' marks:              {1000 * took / 20:8.1f} ms")
    print("an order, four imprints a piece, sizes and names as they repeat:")
    sizes_tried = (options.pieces // 4, options.pieces // 2, options.pieces, 2 * options.pieces)
    for size in sizes_tried:
        art_for.cache_clear()
        lettered.cache_clear()
        start = time.process_time()
        imprints, different = plan_order(size)
        took = time.process_time() - start
        print(
            f"  {size:6} pieces {took:6.2f} s  {1e6 * took / size:6.0f} µs a piece, "
            f"{imprints} imprints, {different} of them different"
        )
    print("every piece measured anew, every name different, one imprint a piece:")
    for size in (100, 200, 400):
        took = seconds(functools.partial(plan_each_different, size))
        print(f"  {size:6} pieces {took:6.2f} s  {1e3 * took / size:6.1f} ms a piece")


if __name__ == "__main__":
    main()
