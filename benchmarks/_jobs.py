"""Everyday jobs of an invented shop: what is pressed in a week, on the platens most shops have."""

from __future__ import annotations

import random
from dataclasses import dataclass

from chalkbeam.garments import Fit, garment, sizes
from chalkbeam.placement.platens import Platen, parse_pad, platen

GARMENTS = {
    "crew_tee": 48, "pullover_hood": 14, "placket_shirt": 10, "crew_sweatshirt": 6,
    "long_sleeve": 6, "zip_hood": 4, "tote": 3, "v_neck": 3, "pocket_tee": 2, "raglan": 2,
    "tank": 1, "trousers": 1,
}  # fmt: skip
"""Share of each style in a hundred; common practice, no source."""
AGES = {"adult": 74, "youth": 19, "toddler": 5, "infant": 2}
PLACES = {
    "crew_tee": {
        "left-chest": 26, "full-front": 26, "full-back": 20, "centre-chest": 8, "upper-back": 6,
        "left-sleeve": 5, "nape": 3, "player-name": 3, "player-number": 3,
    },
    "pullover_hood": {
        "left-chest": 30, "full-front": 25, "full-back": 25, "centre-chest": 10, "player-name": 10,
    },
    "placket_shirt": {"left-chest": 75, "right-chest": 10, "full-back": 10, "left-sleeve": 5},
    "zip_hood": {"left-chest": 50, "full-back": 40, "upper-back": 10},
    "long_sleeve": {
        "left-chest": 30, "full-front": 25, "full-back": 20, "left-sleeve-long": 20, "left-cuff": 5,
    },
    "tote": {"tote": 1},
    "trousers": {"left-leg": 1},
    "pocket_tee": {"full-back": 70, "above-pocket": 30},
    "raglan": {"centre-chest": 50, "full-back": 30, "left-sleeve": 20},
    "tank": {"centre-chest": 60, "upper-back": 40},
}  # fmt: skip
PADDED = {("placket_shirt", "left-chest"), ("placket_shirt", "right-chest"),
          ("zip_hood", "left-chest")}  # fmt: skip
"""What every shop raises on a pad, clear of buttons and zips."""


@dataclass(frozen=True)
class Job:
    """One garment with one print, and the platen that is on."""

    style: str
    size: str
    fit: Fit
    location: str
    shape: str
    platen: str
    pad: str


def everyday_jobs(count: int, seed: int = 13) -> list[Job]:
    """Return so many jobs, the same ones for the same seed."""
    rng = random.Random(seed)

    def drawn(shares: dict[str, int]) -> str:
        return rng.choices(list(shares), list(shares.values()))[0]

    jobs = []
    while len(jobs) < count:
        style, age = drawn(GARMENTS), drawn(AGES)
        fit: Fit = "womens" if age == "adult" and rng.random() < 0.12 else "regular"
        fitting = [size for size in sizes(style, fit=fit) if size not in ("4XL", "5XL")]
        wanted = [size for size in fitting if garment(style, size, fit=fit).age == age]
        place = drawn(PLACES.get(style, PLACES["crew_tee"]))
        shape = rng.choice(("wide", "square", "tall", "leaning"))
        if place in ("player-name", "left-sleeve-long"):
            shape = "name"
        elif place == "player-number":
            shape = "figures"
        if style != "tote" and not wanted:
            continue
        size = rng.choice(wanted or fitting)
        plate = {"adult": "16x20in", "youth": "16x20in", "toddler": "youth-10x12in",
                 "infant": "youth-9x12in"}[age]  # fmt: skip
        if "sleeve" in place or "cuff" in place:
            plate = "sleeve-4x16in"
        elif style == "trousers":
            plate = "11x15in" if age == "adult" else "youth-10x12in"
        pad = "6x6x0.5in" if (style, place) in PADDED else ""
        jobs.append(Job(style, size, fit, place, shape, plate, pad))
    return jobs


def job_platen(job: Job) -> Platen:
    """Return the platen of a job, its pad on it."""
    plate = platen(job.platen)
    return plate.with_pad(parse_pad(job.pad)) if job.pad else plate
