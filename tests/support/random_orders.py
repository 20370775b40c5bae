"""Orders made by chance, for tests and benchmarks of runs."""

import random
from pathlib import Path

from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings

LOCATIONS = ("left chest", "full back", "left sleeve", "nape")


def random_order(
    seed: int,
    count: int,
    artworks: int = 4,
    sizes: int = 4,
    most: int = 2,
    lettering: float = 0.2,
) -> list[Piece]:
    """Return `count` pieces with up to `most` imprints each, some with a name over a number."""
    chance = random.Random(seed)
    pieces = []
    for row in range(2, count + 2):
        places = chance.sample(LOCATIONS, chance.randint(1, most))
        imprints = [
            Imprint(
                f"{row}-1/{index}",
                place,
                Art(ArtKind.FILE, f"art-{chance.randrange(artworks)}.svg"),
                90.0,
                press=PressSettings(dwell=chance.choice([None, 10.0, 12.0])),
                platen="sleeve" if "sleeve" in place else "",
                pad=chance.choice(["", "", "pad"]),
            )
            for index, place in enumerate(places, start=1)
        ]
        if chance.random() < lettering:
            name = f"{row}-1/{len(imprints) + 1}"
            imprints.append(Imprint(name, "player name", Art(ArtKind.NAME, f"N{row}")))
            imprints.append(
                Imprint(
                    f"{row}-1/{len(imprints) + 1}",
                    "player number",
                    Art(ArtKind.NUMBER, str(row)),
                    follows=name,
                )
            )
        pieces.append(
            Piece(
                f"{row}-1", row, 1, 1,
                chance.choice(["tee", "hood"]), str(chance.randrange(sizes)),
                chance.choice(["navy", "white"]), tuple(imprints),
            )
        )  # fmt: skip
    return pieces


def begin(store, count=6, seed=2, **options):
    """Begin a run of a random order on a record."""
    options = {"title": "Regatta", "sheet": Path("order.csv"), "digest": "0"} | options
    return store.begin(plan(random_order(seed, count)), **options)
