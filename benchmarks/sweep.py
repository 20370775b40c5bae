"""Every style, size and location with art of several shapes: what is placed or said wrongly.

Counted are ink under a lying hood with nothing said, ink on a ridge with nothing said, places
that rise as sizes grow, left and right that are no mirror images, words that disagree with their
own figures, and art of the usual size that does not go. Then 500 everyday jobs are placed and
loaded: how many of them ask for a look, or stop. Goals: nothing of the first, fewer than one job
in ten. Nothing here asks the program's own judgement of clearance: areas and ink are laid over
one another anew.
``python -m benchmarks sweep``
"""

from __future__ import annotations

import argparse
import collections
import itertools
import statistics
import time
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
import shapely

from benchmarks._jobs import Job, everyday_jobs, job_platen
from calibration.refusal import Refusal
from chalkbeam.artwork import Artwork, Box, OpticalCentre
from chalkbeam.basics.sentences import Sentence
from chalkbeam.basics.units import MM_PER_INCH
from chalkbeam.garments import FITS, Face, Garment, garment, sizes, styles
from chalkbeam.locations import Location, locations
from chalkbeam.orders.pieces import Art, ArtKind, Imprint
from chalkbeam.placement import (
    Impossible,
    Placement,
    Severity,
    Verdict,
    check_words,
    fitted,
    place,
    reasons,
)
from chalkbeam.placement.clearance import ink_shape, moved, valid
from chalkbeam.placement.loading import load, looks_of
from chalkbeam.placement.platens import platen
from chalkbeam.station.laying import Placed, PlatenLayer
from chalkbeam.station.tick_view import rig_from_above

SHAPES = {"wide": (3.0, 1.0), "square": (1.0, 1.0), "tall": (3.0, 4.0), "leaning": (2.0, 1.5)}
"""Width and height of the art, in proportion; the last weighs more on its left."""
LETTERS = {"name": (5.0, 1.0), "figures": (1.2, 1.0)}
"""Likewise of lettering, in the jobs alone."""
TRACE = 1.5
"""An overlap below this is rounding, mm²."""
BACKWARDS = 1.0
"""A place that rises by more than this on the next larger size goes the wrong way, mm."""
APART = MM_PER_INCH
"""Rules further apart than this agree only within a band that is told, mm."""
JOBS = 500
PRESS = ("16x20in", "15x15in", "11x15in", "youth-9x12in", "sleeve-5x18in")
"""The platens of a press that has several, the calibrated one first."""


@dataclass
class Faults:
    """Counts of the sweep, with the first few of each kind."""

    counts: collections.Counter[str] = field(default_factory=collections.Counter)
    shown: dict[str, list[str]] = field(default_factory=dict)

    def add(self, kind: str, what: str) -> None:
        """Count one more fault of a kind."""
        self.counts[kind] += 1
        self.shown.setdefault(kind, [])
        if len(self.shown[kind]) < 400:
            self.shown[kind].append(what)


def block(shape: str, scale: float = 30.0) -> Artwork:
    """Return a rectangle of ink with a margin of carrier."""
    width, height = (scale * side for side in {**SHAPES, **LETTERS}[shape])
    ink = Box(-width / 2, -height / 2, width / 2, height / 2)
    corners = tuple((float(x), float(y)) for x, y in ink.corners())
    centre = (-0.08 * width, 0.0) if shape == "leaning" else (0.0, 0.0)
    return Artwork(
        name=shape, ink=ink, sheet=ink.grown(6.0),
        optical_centre=OpticalCentre(centre, Sentence("as the sweep says")), centroid=centre,
        baseline=None, outline=(corners,), hull=corners,
    )  # fmt: skip


def in_a_mirror(art: Artwork) -> Artwork:
    x, y = art.optical_centre.point
    return replace(art, optical_centre=OpticalCentre((-x, y), art.optical_centre.reason),
                   centroid=(-x, y))  # fmt: skip


def usual(piece: Garment, spot: Location, art: Artwork) -> Artwork:
    """Return the art in the size that the program gives it there where nobody says one."""
    return fitted(
        piece, spot, art.scaled(spot.usual_scale(piece.age, art.ink.width, art.ink.height))
    )


def pieces() -> Iterator[Garment]:
    for style in styles():
        for fit in FITS:
            for size in sizes(style, fit=fit):
                yield garment(style, size, fit=fit)


def overlap(face: Face, kinds: tuple[str, ...], hard: bool, ink: shapely.Geometry) -> list[str]:
    """Return the areas that the ink lies on."""
    names = []
    x0, y0, x1, y1 = ink.bounds
    for area in face.areas:
        if area.hard is not hard or (kinds and area.kind not in kinds):
            continue
        (left, top), (right, bottom) = area.polygon.min(axis=0), area.polygon.max(axis=0)
        if left > x1 or right < x0 or top > y1 or bottom < y0:
            continue
        if valid(shapely.Polygon(area.polygon)).intersection(ink).area > TRACE:
            names.append(area.name)
    return names


def look_at(placed: Placement, what: str, faults: Faults) -> None:
    """Compare one placement with what is said of it."""
    face = placed.face
    ink = moved(ink_shape(placed.artwork), placed.garment_from_art)
    worst = collections.defaultdict(lambda: Severity.NOTE)
    for concern in placed.warnings:
        worst[concern.about] = max(worst[concern.about], concern.severity)
    inner = placed.location.preset.inside
    if not inner and overlap(face, ("hood_shadow",), False, ink):
        napes = placed.location.name == "nape"
        faults.add("a nape under a hood, told" if napes else "under a hood by default", what)
        if worst["hood"] < Severity.CAUTION:
            faults.add("covered by a hood, unsaid", what)
        if any("hood" in r.rule.says and r.verdict is Verdict.MET and "lying" in r.rule.says
               for r in placed.rules):  # fmt: skip
            faults.add("hood's rule met while covered", what)
    if overlap(face, (), True, ink) and placed.worst < Severity.STOP:
        faults.add("ridge under the ink, unsaid", what)
    for check in placed.cross_checks:
        words = check_words(check)
        agrees = "agree" in words.template and "disagree" not in words.template
        asked, got = check.checked_by.asked, check.checked_by.got
        ends = {round(abs(end)) for end in (asked.low, asked.high) if abs(end) > 0.5}
        told = ends <= {round(abs(n)) for n in words.lengths}
        outside = not asked.low - 0.5 <= got <= asked.high + 0.5
        if agrees and (outside if told else abs(check.apart) > APART):
            faults.add("“agree” while apart", f"{what}: {words.say()}")
    for reason, result in zip(reasons(placed), placed.rules, strict=False):
        outside = "outside common practice" in reason.template
        if outside and result.rule.art == "ink_top" and any(
            "never onto the collar" in r.rule.says and r.got >= r.asked.usual - 0.5
            for r in placed.rules
        ) and any("tall art" in r.rule.says for r in placed.rules):  # fmt: skip
            faults.add("tall art called outside practice", what)
            break
    hem = next((r for r in placed.rules if r.rule.line == "hem"), None)
    line = face.along.get("hem")
    if face.name in ("front", "back") and line is not None and hem is None:
        short = line.value - float(ink.bounds[3]) < 1.5 * MM_PER_INCH
        if short and not any(c.severity >= Severity.CAUTION for c in placed.warnings):
            faults.add("near the hem, unsaid", what)


def sweep(faults: Faults, every: int) -> int:
    """Place everything; return how many combinations were tried."""
    tried = 0
    found = locations()
    depth: dict[tuple[str, ...], tuple[float, float]] = {}
    arts = {name: block(name) for name in SHAPES}
    for piece in itertools.islice(pieces(), 0, None, every):
        for name, spot in found.items():
            if spot.face not in piece.faces:
                continue
            for shape, art in arts.items():
                what = f"{piece.label}, {name}, {shape}"
                try:
                    sized = usual(piece, spot, art)
                    placed = place(piece, spot, sized)
                except Impossible:
                    tried += 1
                    faults.add("impossible at the usual width", what)
                    continue
                except Refusal:
                    break  # a line that the garment does not have: no such location on it
                tried += 1
                look_at(placed, what, faults)
                origin = placed.face.along.get("shoulder_top")
                low = placed.centre[1] - (origin.value if origin else 0.0)
                key = (piece.style, piece.fit, piece.age, name, shape)
                before, width = depth.get(key, (-np.inf, 0.0))
                if placed.worst is Severity.STOP:
                    continue  # not to be pressed so: no place to compare
                alike = abs(sized.ink.width - width) < TRACE
                if alike and low < before - BACKWARDS:
                    faults.add("rises with size", f"{what}: {low:.0f} after {before:.0f}")
                if sized.ink.width < width - BACKWARDS:
                    faults.add("smaller on a larger size", f"{what}: {sized.ink.width:.0f} mm")
                depth[key] = (low, sized.ink.width)
                twin = found.get(spot.preset.twin or "")
                if twin is not None and spot.turn == 0.0 and name.startswith("left"):
                    other = place(piece, twin, in_a_mirror(sized))
                    (x, y), (u, v) = placed.centre, other.centre
                    if abs(x + u) > 0.01 or abs(y - v) > 0.01:
                        faults.add("not mirrored", what)
    return tried


def work(job: Job) -> tuple[Severity, list[str], float]:
    """Place and load one job; return the severest of what is said, its words, ms of loading."""
    piece, spot = garment(job.style, job.size, fit=job.fit), locations()[job.location]
    try:
        placed = place(piece, spot, usual(piece, spot, block(job.shape)))
    except Refusal as refusal:
        return Severity.STOP, [str(refusal)], 0.0
    start = time.process_time()
    try:
        loading = load(placed, job_platen(job))
    except Refusal as refusal:
        return Severity.STOP, [str(refusal)], 1000 * (time.process_time() - start)
    took = 1000 * (time.process_time() - start)
    said = [c for c in (*placed.warnings, *loading.concerns) if c.severity > Severity.NOTE]
    worst = max((c.severity for c in said), default=Severity.NOTE)
    return worst, [f"{c.about}: {c.sentence}" for c in said], took


def chosen(jobs: list[Job]) -> tuple[list[float], int]:
    """Choose among the platens of one press for each job; return ms, and how many ask for a look.

    All platens are compared where the large one has something against it.
    """
    rigs = [replace(rig_from_above(platen(name)), platen=name) for name in PRESS]
    layer, times, looks = PlatenLayer(rigs), [], 0
    for number, job in enumerate(jobs):
        piece, spot = garment(job.style, job.size, fit=job.fit), locations()[job.location]
        wanted = Imprint(str(number), spot.name, Art(ArtKind.FILE, job.shape), pad=job.pad)
        try:
            placed = place(piece, spot, usual(piece, spot, block(job.shape)))
            start = time.process_time()
            _, loading = layer.choose(Placed(wanted, placed))
        except Refusal:
            continue
        times.append(1000 * (time.process_time() - start))
        looks += looks_of(loading) > 0
    return times, looks


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--show", default="", help="list the cases of this kind")
    parser.add_argument("--jobs-only", action="store_true")
    parser.add_argument("--every", type=int, default=1, help="only each so many-th garment")
    options = parser.parse_args()
    faults = Faults()
    if not options.jobs_only:
        start = time.process_time()
        tried = sweep(faults, options.every)
        took = time.process_time() - start
        print(f"{tried} combinations in {took:.1f} s of one core")
        for kind in KINDS:
            print(f"  {kind:36} {faults.counts[kind]:6}")
        for kind, cases in faults.shown.items():
            if options.show and options.show in kind:
                print(kind, *cases, sep="\n    ")
    answers = [(job, *work(job)) for job in everyday_jobs(JOBS)]
    looks = [a for a in answers if a[1] is Severity.CAUTION]
    stops = [a for a in answers if a[1] is Severity.STOP]
    print(f"{JOBS} everyday jobs: {len(looks)} ask for a look, {len(stops)} stop")
    times = [took for *_, took in answers if took]
    print(f"loading: {statistics.median(times):.2f} ms at the median, {max(times):.1f} ms at most")
    times, left = chosen([job for job, *_ in answers])
    print(
        f"chosen among {len(PRESS)} platens: {statistics.median(times):.2f} ms at the median, "
        f"{max(times):.1f} ms at most; {left} of {len(times)} have something under the head"
    )
    if options.show in ("look", "stop"):
        for job, _, said, _ in looks if options.show == "look" else stops:
            print("   ", job, *said, sep="\n        ")


KINDS = (
    "under a hood by default",
    "a nape under a hood, told",
    "covered by a hood, unsaid",
    "hood's rule met while covered",
    "ridge under the ink, unsaid",
    "rises with size",
    "smaller on a larger size",
    "not mirrored",
    "“agree” while apart",
    "tall art called outside practice",
    "near the hem, unsaid",
    "impossible at the usual width",
)


if __name__ == "__main__":
    main()
