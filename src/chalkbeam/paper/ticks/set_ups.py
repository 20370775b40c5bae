"""The set-ups of an order: a line each in the order of work, and a picture of each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from calibration.geometry import XY, PlatenFace, Points
from chalkbeam.basics.units import Unit
from chalkbeam.garments.library import style_words
from chalkbeam.lasers.aims import Aim, SetUp, Stand
from chalkbeam.lasers.ticks import Edge, error_at
from chalkbeam.light.choice import Choice
from chalkbeam.orders.order_of_work import Stop
from chalkbeam.orders.stretches import Stretch
from chalkbeam.paper.drawing import spread
from chalkbeam.paper.ticks.page import (
    ALERT,
    ART,
    BEAM,
    CLOTH,
    EDGE,
    INK,
    POINT,
    QUIET,
    RULE,
    WHITE,
    SheetPage,
)
from chalkbeam.placement.clearance import valid
from chalkbeam.placement.loading import loading_words

LEANS = (10.0, 30.0)
"""Tilts, degrees, whose error is told where the tilt is unknown."""

SEEN = 25.4 / 8
"""Loadings that differ by less than this, mm, read alike in inches and share a picture."""

COLUMNS, ROWS = 3, 2
"""Pictures on a page."""


@dataclass(frozen=True)
class WorkedStop:
    """One stop of the order of work with its place, its loading and how the lasers stand."""

    stop: Stop
    choice: Choice
    set_up: SetUp

    @property
    def looks(self) -> tuple[object, ...]:
        """What decides whether two stops share a picture."""
        placement, loading = self.choice.placement, self.choice.loading
        lies = tuple(round(length / SEEN) for length in (loading.overhang, loading.aside))
        return (
            self.set_up.labels, placement.location.name, placement.garment.style,
            loading.platen.face, loading.platen.pad, loading.collar, lies,
        )  # fmt: skip


@dataclass(frozen=True)
class Leg:
    """Stops one after the other that share a set-up.

    Attributes
    ----------
    number : int
        Of the set-up, from 1 in the order in which they are first used.
    moved : tuple of Aim
        What is aimed before it.
    works : tuple of WorkedStop
    """

    number: int
    moved: tuple[Aim, ...]
    works: tuple[WorkedStop, ...]

    @property
    def pieces(self) -> str:
        """The pieces, those that count up as one: “9-1…9-5”."""
        ids = tuple(dict.fromkeys(work.stop.piece.id for work in self.works))
        return Stretch("", "", "", "", ids).codes

    @property
    def sizes(self) -> str:
        """The sizes, in the order of work."""
        return ", ".join(dict.fromkeys(work.stop.piece.size for work in self.works))


def legs_of(works: Sequence[WorkedStop]) -> tuple[Leg, ...]:
    """Return the order of work as stretches of one set-up each."""
    legs: list[Leg] = []
    numbers: dict[tuple[object, ...], int] = {}
    before: tuple[object, ...] = ()
    for work in works:
        looks = work.looks
        number = numbers.setdefault(looks, len(numbers) + 1)
        if looks == before:
            legs[-1] = replace(legs[-1], works=(*legs[-1].works, work))
            continue
        moved = tuple(
            aim for aim in work.set_up.aims if aim.stand.laser.letter in work.set_up.moved
        )
        legs.append(Leg(number, moved, (work,)))
        before = looks
    return tuple(legs)


def pictured(legs: Sequence[Leg]) -> tuple[Leg, ...]:
    """Return one leg for each set-up, with all that are worked in it."""
    found: dict[int, Leg] = {}
    for leg in legs:
        earlier = found.get(leg.number)
        works = leg.works if earlier is None else (*earlier.works, *leg.works)
        found[leg.number] = Leg(leg.number, leg.moved, works)
    return tuple(found.values())


def aim_words(leg: Leg) -> str:
    """Return what to aim before a leg."""
    if not leg.moved:
        return "lasers stay"
    return ", ".join(f"{aim.stand.laser.letter} to {aim.stand.label}" for aim in leg.moved)


def draw_legs(page: SheetPage, legs: Sequence[Leg], first: int, top: float, pieces: bool) -> None:
    """Write lines of the order of work; `first` is the number of the first.

    `pieces` is whether pieces have names that anybody knows.
    """
    columns = (0.0, 10.0, 62.0, 82.0, 150.0, 190.0)
    names = ("", "aim", "picture", "what", "sizes", "pieces" if pieces else "")
    for x, name in zip(columns, names, strict=True):
        page.text(EDGE + x, top, name, 7.5, colour=QUIET)
    y = top - 2.5
    page.line((EDGE, y), (EDGE + page.room, y), 0.2, RULE)
    for number, leg in enumerate(legs, start=first):
        y -= LEG
        work = leg.works[0]
        placement = work.choice.placement
        what = f"{placement.location.title}, {placement.garment.style.replace('_', ' ')}"
        cells = (
            str(number),
            aim_words(leg),
            str(leg.number),
            what,
            leg.sizes,
            leg.pieces if pieces else "",
        )
        for k, (x, words) in enumerate(zip(columns, cells, strict=True)):
            room = (*columns, page.room)[k + 1] - x - 2
            bold = k in (0, 1) and bool(leg.moved)
            page.text(EDGE + x, y + 1.4, words, 8.5, bold=bold, room=room,
                      colour=QUIET if k == 1 and not leg.moved else INK)  # fmt: skip
        page.line((EDGE, y), (EDGE + page.room, y), 0.1, RULE)


LEG = 6.0
"""Height of a line of the order of work, mm."""


def draw_set_up(
    page: SheetPage, leg: Leg, x: float, top: float, width: float, height: float, unit: Unit
) -> None:
    """Draw a set-up: the platen with garment, art and lines, and beside it what to know."""
    work = leg.works[0]
    placement = work.choice.placement
    page.text(x, top - 4, f"{leg.number}", 13, bold=True)
    page.text(x + 8, top - 4, placement.location.title, 10, bold=True, room=width - 10)
    style = style_words(placement.garment.style)
    page.text(x + 8, top - 8, f"{style} {leg.sizes}", 8, colour=QUIET, room=width - 10)
    words = _words(leg, unit)
    size, room = 8.0, width - 6
    deep = 1.22 * size * POINT * sum(len(page.lines(text, size, room)) for text, _ in words) + 1
    _picture(page, work, x, top - 11, width - 4, height - 13 - deep)
    y = top - height + deep
    for text, alert in words:
        y = page.wrapped(x, y, text, size, room, colour=ALERT if alert else INK, most=9)


def _words(leg: Leg, unit: Unit) -> list[tuple[str, bool]]:
    """Return what to know of a set-up, a line each, and whether it is a caution."""
    work = leg.works[0]
    said = [(loading_words(work.choice.placement, work.choice.loading).say(unit) + ".", False)]
    for k, aim in enumerate(work.set_up.aims):
        others = {each.set_up.aims[k].line.on_art for each in leg.works}
        tail = ""
        if aim.line.on_art is not None:
            alike = len({each.say(unit) for each in others if each is not None}) == 1
            tail = aim.line.on_art.say(unit) if alike else "another place on each: measure it"
            tail = f": on the transfer {tail}"
        crosses = crossing_words(aim.stand, work.choice.loading.platen.face)
        said.append((f"{aim.stand.label} {aim.line.words}, {crosses}{tail}.", False))
    off = max((abs(aim.off) for each in leg.works for aim in each.set_up.aims), default=0.0)
    if off >= 0.1:
        said.append((f"Ticks are shared: up to {off:.1f} mm beside the place.", False))
    for line in work.set_up.missing:
        said.append((f"No laser for: {line.words}. Measure it.", True))
    unknown = [aim.stand.laser.letter for aim in work.set_up.aims if aim.unknown]
    if unknown:
        height = max(each.choice.loading.height for each in leg.works)
        errors = [f"{error_at(height, lean):.1f} mm at {lean:g}°" for lean in LEANS]
        said.append((f"Tilt of {', '.join(unknown)} unknown: on this cloth, {height:.1f} mm high, "
                     f"off by {', '.join(errors)}.", True))  # fmt: skip
    return said


def crossing_words(stand: Stand, face: PlatenFace) -> str:
    """Return where a line crosses the platen's edges, in mm as the strips are marked.

    Examples
    --------
    “near and far edge 87.4 mm right of the middle”
    """
    said = []
    for tick in stand.ticks(face):
        sides = ("left of", "right of") if tick.edge in _LEVEL else ("nearer than", "beyond")
        place = f"{abs(tick.at):.1f} mm {sides[tick.at > 0]} the middle"
        said.append((tick.edge.value, "in the middle" if abs(tick.at) < 0.05 else place))
    (one, here), (other, there) = said
    if here == there:
        return f"{one} and {other} edge {here}"
    return f"{one} edge {here}, {other} edge {there}"


_LEVEL = (Edge.NEAR, Edge.FAR)
"""Edges along which platen x counts."""


def _picture(
    page: SheetPage, work: WorkedStop, x: float, top: float, width: float, height: float
) -> None:
    """Draw the platen from above as the operator stands, with garment, ink and lines."""
    placement, loading = work.choice.placement, work.choice.loading
    face = loading.platen.face
    beside, below = 11.0, 9.5
    scale = min((width - 2 * beside) / face.width, (height - 2 * below) / face.depth)
    middle = np.array([x + width / 2, top - height / 2 + 1.0])

    def to_page(points: Points) -> list[XY]:
        return [(float(a), float(b)) for a, b in np.asarray(points) * scale + middle]

    pose = loading.platen_from_garment
    far = np.array([face.width, face.depth]) / 2 + 0.7 * beside / scale
    shown = shapely.box(-far[0], -far[1], far[0], far[1])
    cloth = valid(shapely.Polygon(pose.apply(placement.face.outline))).intersection(shown)
    for part in shapely.get_parts(cloth):
        if part.geom_type == "Polygon":
            ring = np.asarray(part.exterior.coords)[:-1]
            page.polygon(to_page(ring), fill=CLOTH, stroke=RULE, weight=0.2)
    page.polygon(to_page(face.outline()), stroke=INK, weight=0.5)
    if loading.platen.pad is not None:
        page.polygon(to_page(loading.platen.pressed()), stroke=QUIET, weight=0.2)
    for outline in placement.artwork.outline:
        art = (pose @ placement.garment_from_art).apply(outline)
        page.polygon(to_page(art), fill=ART, stroke=QUIET, weight=0.15)
    for aim in work.set_up.aims:
        ticks = np.array([tick.point(face) for tick in aim.stand.ticks(face)])
        start, end = (np.array(point) for point in to_page(ticks))
        along = 2.5 * (end - start) / np.hypot(*(end - start))
        page.line(_xy(start - along), _xy(end + along), 0.5, BEAM)
    for edge in Edge:
        _tick_names(page, work, edge, to_page)
    page.text(x, top - height + 3.0, "you stand here", 6.5, colour=QUIET)


def _tick_names(
    page: SheetPage, work: WorkedStop, edge: Edge, to_page: Callable[[Points], list[XY]]
) -> None:
    """Write the names of the ticks beyond an edge, side by side."""
    face = work.choice.loading.platen.face
    beyond = _BEYOND[edge]
    along = 1 if beyond[0] else 0
    size = (7.2, 3.8)
    found = []
    for aim in work.set_up.aims:
        for tick in aim.stand.ticks(face):
            if tick.edge is edge:
                (point,) = to_page(np.array([tick.point(face)]))
                found.append((point[along], point[1 - along], aim.stand.label))
    found.sort()
    for (_, across, label), place in zip(
        found, spread([at for at, _, _ in found], size[along] + 0.6), strict=True
    ):
        level = across + 6.2 * beyond[1 - along]
        cx, cy = (level, place) if along else (place, level)
        page.box(cx - size[0] / 2, cy - size[1] / 2, *size, fill=WHITE, stroke=BEAM, weight=0.25)
        page.text(cx, cy - 1.1, label, 8, bold=True, colour=BEAM, anchor="middle")


_BEYOND = {Edge.NEAR: (0, -1), Edge.FAR: (0, 1), Edge.LEFT: (-1, 0), Edge.RIGHT: (1, 0)}
"""Which way is off the platen, on the page."""


def _xy(point: Points) -> XY:
    return float(point[0]), float(point[1])
