"""From a placement and a loading to marks: what is lit while loading, and while laying.

Both functions are pure. Marks lie in the platen frame, at the height of the lit
cloth. Only what the step needs is lit, and lettering stays clear of the art.
"""

from __future__ import annotations

import functools
import itertools
import re
from collections.abc import Iterable, Sequence

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from calibration.geometry import XY, Isometry, PlatenFace, xy_tuple
from chalkbeam.basics.units import Unit
from chalkbeam.garments import Face
from chalkbeam.light.free_room import Ground, grounds, rooms, text_shape
from chalkbeam.light.labels import CAP, LEAST_CAP, set_block, shapes_of, without_ends
from chalkbeam.light.references import edge_ticks, load_words, sheet_lines, sheet_words
from chalkbeam.placement import Concern, Placement, Severity
from chalkbeam.placement.clearance import ink_shape, moved, valid
from chalkbeam.placement.loading import Loading, centre_line
from overlay.marks import Crosshair, Dash, Hatch, Mark, Role, Stroke, Text

THIN, LINE = 0.8, 1.4
"""Widths of light on the cloth, mm."""
LONGEST_WARNINGS = 2
"""More lines of warning than this are not read at the press."""
NEAR = 60.0
"""Stay-clear areas further from the sheet than this are not lit, mm."""
SHORTEST = 8.0
"""A clipped line shorter than this tells nothing, mm."""


def load_marks(
    placement: Placement,
    loading: Loading,
    *,
    note: str = "",
    unit: Unit = Unit.MM,
) -> tuple[Mark, ...]:
    """Return where pad and garment go: centre line, seams, edges, how far it hangs over.

    Parameters
    ----------
    placement : Placement
    loading : Loading
    note : str
        Which piece this is, for the operator; several lines are set each on its own.
    unit : Unit
        Unit of the lengths in the lettering.

    Returns
    -------
    tuple of Mark
        Platen frame, mm.
    """
    marks, arrow = _load_lines(placement, loading)
    height = loading.height
    marks += arrow
    lines = [m for m in marks if isinstance(m, Stroke) and m.dash is not Dash.DOTTED]
    kept_clear = shapely.union_all([_stroke_shape(line) for line in lines])
    marks += [
        tick
        for tick in edge_ticks(placement, loading, unit)
        if not (isinstance(tick, Text) and text_shape(tick).intersects(kept_clear))
    ]
    said = (
        [line for line in note.splitlines() if line],
        [
            f"{placement.garment.label}, {_face_words(placement.face.name)}",
            *load_words(placement, loading, unit),
        ],
    )
    # Where there is no free place lines give way to the words, but the arrow never does; of the
    # lines the centre line last, by which the garment is laid straight.
    centre_marks = [mark for mark in marks if isinstance(mark, Stroke) and mark.dash is Dash.CHAIN]
    labels = [mark for mark in marks if isinstance(mark, Text)]
    tiers: list[Sequence[Mark]] = [marks, [*arrow, *centre_marks], arrow]
    ground = grounds(loading.platen, height)
    texts: list[Text] = []
    warned = _warned((*placement.warnings, *loading.concerns), unit)
    for words, sacrificed in zip(said, (tiers, tiers[:2]), strict=True):
        largest = min([text.size for text in texts], default=CAP)
        for tier in sacrificed:
            blocked = [*map(_stroke_shape, tier), *map(text_shape, texts)]
            fewest = 1 if tier is arrow else len(words)
            block = set_block(words, Role.NOTE, rooms(ground, blocked), fewest, largest)
            if block:
                texts += block
                break
    for warning in warned:
        texts += _warning(warning, ground, marks, centre_marks + arrow, texts)
    covered = shapely.union_all([text_shape(text) for text in texts])
    hidden = [label for label in labels if text_shape(label).intersects(covered)]
    kept = [mark for mark in marks if mark not in arrow and mark not in hidden]
    shown = [label for label in labels if label not in hidden]
    return (*without_ends(kept, [*texts, *shown]), *arrow, *texts)


def _warned(concerns: Sequence[Concern], unit: Unit) -> list[str]:
    """Return what must be said in light, the worst first."""
    severe = [concern for concern in concerns if concern.severity > Severity.NOTE]
    severe.sort(key=lambda concern: -concern.severity)
    return [concern.sentence.say(unit) for concern in severe[:LONGEST_WARNINGS]]


def _warning(
    words: str,
    ground: Sequence[Ground],
    marks: Sequence[Mark],
    needed: Sequence[Mark],
    texts: Sequence[Text],
) -> list[Text]:
    """Return a warning clear of lines, or at least of those that are needed; as full as goes."""
    for kept in (marks, needed):
        free = rooms(ground, [*map(_stroke_shape, kept), *map(text_shape, texts)])
        for way in _briefer(words):
            if block := set_block([way], Role.WARN, free):
                return block
    return []


def load_lines(placement: Placement, loading: Loading) -> tuple[Mark, ...]:
    """Return the lines of `load_marks` without any lettering, which takes most of the time."""
    marks, arrow = _load_lines(placement, loading)
    return tuple(mark for mark in (*marks, *arrow) if not isinstance(mark, Text))


def _load_lines(placement: Placement, loading: Loading) -> tuple[list[Mark], list[Stroke]]:
    """Return lines with the words that belong to one, and apart the arrow to the collar."""
    pose, height = loading.platen_from_garment, loading.height
    plate = shapely.Polygon(loading.platen.face.outline())
    marks: list[Mark] = []
    top, bottom = _span(placement)
    centre = centre_line(placement)
    line = shapely.LineString([(centre, top), (centre, bottom)])
    marks += _strokes(line, pose, plate, Role.LOAD, LINE, height, Dash.CHAIN)
    for edge in _guides(placement):
        marks += _strokes(edge, pose, plate, Role.LOAD, LINE, height)
    marks += _level(placement, pose, plate, height)
    if loading.platen.pad is not None:  # true on the pad's top, which the garment still leaves bare
        edge = xy_tuple(loading.platen.pressed())
        top = loading.platen.height
        marks.append(Stroke(edge, Role.CLEAR, THIN, closed=True, height=top))
    return marks, _arrow(placement, pose, plate, height)


def _face_words(name: str) -> str:
    """Return which side of the garment faces up."""
    return f"{name} up" if name in ("front", "back", "panel") else name.replace("_", " ")


def lay_marks(
    placement: Placement,
    loading: Loading,
    *,
    note: str = "",
    unit: Unit = Unit.MM,
) -> tuple[Mark, ...]:
    """Return where the sheet and its ink go, what to stay clear of, and what is wrong.

    Parameters and result as `load_marks`; the lines of the note come first.
    """
    art, sheet = _art(placement, loading), sheet_lines(placement, loading)
    marks = _lay_lines(placement, loading, art, sheet)
    # What lies under the head was said before the garment was on.
    warned = _warned(placement.warnings, unit)
    words = [
        *filter(None, note.splitlines()),
        f"{placement.location.title}: {placement.artwork.name}",
    ]
    if beside := sheet_words(placement, unit):
        words.append(beside)
    if placement.artwork.mirrored:
        words.append("mirror-printed: shown as seen from the back")
    kept_off = art.buffer(LINE)
    off = [kept_off, *shapes_of([mark for mark in marks if isinstance(mark, Hatch)], THIN)]
    ticks = shapes_of(sheet, LINE)
    ground = grounds(loading.platen, loading.height)
    return (*marks, *_lay_words(words, warned, ground, [*off, *ticks], [kept_off, *ticks]))


def _art(placement: Placement, loading: Loading) -> BaseGeometry:
    """Return what the sheet and its ink cover, platen frame."""
    platen_from_art = loading.platen_from_garment @ placement.garment_from_art
    sheet = shapely.Polygon(platen_from_art.apply(placement.artwork.sheet.corners()))
    return sheet.union(moved(ink_shape(placement.artwork), platen_from_art))


def lay_lines(placement: Placement, loading: Loading) -> tuple[Mark, ...]:
    """Return the lines of `lay_marks` without any lettering, which takes most of the time."""
    art = _art(placement, loading)
    return _lay_lines(placement, loading, art, sheet_lines(placement, loading))


def _lay_lines(
    placement: Placement, loading: Loading, art: BaseGeometry, of_sheet: Sequence[Mark]
) -> tuple[Mark, ...]:
    pose, height = loading.platen_from_garment, loading.height
    plate = shapely.Polygon(loading.platen.face.outline())
    platen_from_art = pose @ placement.garment_from_art
    marks: list[Mark] = []
    sheet = shapely.Polygon(platen_from_art.apply(placement.artwork.sheet.corners()))
    marks += _hatches(placement, loading, art, height)
    if loading.platen.pad is not None:
        edge = xy_tuple(loading.platen.pressed())
        marks.append(Stroke(edge, Role.CLEAR, THIN, closed=True, height=height))
    if placement.artwork.sheet != placement.artwork.ink:
        edge = shapely.LineString(sheet.exterior.coords)
        marks += _clip(edge, plate, Role.LAY, THIN, height, Dash.DASHED)
    for ring in placement.artwork.outline:
        points = xy_tuple(platen_from_art.apply(ring))
        marks.append(Stroke(points, Role.LAY, LINE, closed=True, height=height))
    x, y = platen_from_art.apply([placement.artwork.optical_centre.point])[0]
    arm = float(np.clip(0.12 * max(placement.artwork.ink.width, 1.0), 6.0, 20.0))
    marks.append(Crosshair((float(x), float(y)), Role.LAY, arm, width=LINE, height=height))
    return (*marks, *of_sheet)


def _lay_words(
    words: Sequence[str],
    warned: Sequence[str],
    ground: Sequence[Ground],
    off: Sequence[BaseGeometry],
    lines: Sequence[BaseGeometry],
) -> list[Text]:
    """Return what is said beside the art, never across it.

    Where not all has room, all warnings come before the last of the words, and the piece's
    number before any warning, and words give way before a warning is cut within its first
    sentence; last of all words stand in stay-clear areas.
    """
    ways = [words[:count] for count in range(len(words), 1, -1)]
    ways += [
        [f"{words[0]}: {', '.join(words[1:count])}"] for count in (3, 2) if count <= len(words)
    ]
    ways.append(words[:1])
    best: list[Text] = []
    for blocked in (off, lines):
        free = rooms(ground, blocked)
        # What does not fit by itself fits beside nothing: not tried again and again.
        fits = [[w for w in _briefer(text) if set_block([w], Role.WARN, free)] for text in warned]
        uncut = [[way for way in found if not way.endswith("…")] for found in fits]
        tried = [uncut] if uncut == fits else [uncut, fits]
        for briefer, said, largest in itertools.product(
            tried, ways, (CAP, LEAST_CAP) if warned else (CAP,)
        ):
            texts = set_block(said, Role.NOTE, free, len(said), largest)
            if not texts:
                continue
            for found in filter(None, briefer):
                left = [room.without(texts) for room in free]
                blocks = (set_block([way], Role.WARN, left) for way in found)
                texts += next(filter(None, blocks), [])
            if len(texts) == 1 + sum(map(bool, fits)):
                return texts
            best = max(best, texts, key=len)
        if best:
            return best
    return best


def _briefer(warning: str) -> list[str]:
    """Return the ways to say a warning, the fullest first.

    Whole; then its first sentence; then that without what stands in brackets: each still says
    what is wrong beside what is usual or to be done. Last of all what comes before the first
    semicolon, with an ellipsis: better than silence.
    """
    first = warning.partition(". ")[0].rstrip(".")
    ways = [warning.rstrip("."), first, _BRACKETS.sub("", first)]
    if ";" in first:
        ways.append(first.partition(";")[0] + " …")
    return list(dict.fromkeys(ways))


_BRACKETS = re.compile(r" \([^()]*\)")


def _span(placement: Placement) -> tuple[float, float]:
    """Return the least and the greatest y of the face's cloth, mm."""
    ys = placement.face.outline[:, 1]
    return float(ys.min()), float(ys.max())


def _guides(placement: Placement) -> Iterable[BaseGeometry]:
    """Return the garment's own lines that help to lay it straight: neck, shoulders, sides, hem."""
    face = placement.face
    yield shapely.LineString([*face.outline, face.outline[0]])
    for line in face.lines:
        if line.kind in ("seam", "stitch") and len(line.points) >= 2:
            points = [*line.points, line.points[0]] if line.closed else line.points
            yield shapely.LineString(points)


def _strokes(
    line: BaseGeometry,
    pose: Isometry,
    plate: BaseGeometry,
    role: Role,
    width: float,
    height: float,
    dash: Dash | None = None,
) -> list[Stroke]:
    """Return a line of the garment frame as strokes, clipped to the platen."""
    return _clip(moved(line, pose), plate, role, width, height, dash)


def _clip(
    line: BaseGeometry,
    plate: BaseGeometry,
    role: Role,
    width: float,
    height: float,
    dash: Dash | None = None,
) -> list[Stroke]:
    inside = line.intersection(plate)
    if inside.geom_type in ("MultiLineString", "GeometryCollection"):
        inside = shapely.line_merge(
            shapely.MultiLineString([g for g in inside.geoms if g.geom_type == "LineString"])
        )
    parts = getattr(inside, "geoms", [inside])
    strokes = []
    for part in parts:
        if part.geom_type != "LineString" or part.length < SHORTEST:
            continue
        coords = np.asarray(part.coords)
        closed = bool(len(coords) > 3 and np.allclose(coords[0], coords[-1]))
        points = xy_tuple(coords[:-1] if closed else coords)
        strokes.append(Stroke(points, role, width, closed, dash, height))
    return strokes


def _hatches(
    placement: Placement, loading: Loading, art: BaseGeometry, height: float
) -> list[Hatch]:
    """Return the stay-clear areas near the art, on the platen, those that touch merged."""
    parts = _areas(placement.face, loading.platen_from_garment, loading.platen.face)
    near = tuple(part for part in parts if part[1].distance(art) < NEAR)
    return [Hatch(polygon, height=height) for polygon in _merged(near)]


@functools.lru_cache(maxsize=8)
def _areas(face: Face, pose: Isometry, plate: PlatenFace) -> tuple[tuple[bool, BaseGeometry], ...]:
    """Return the stay-clear areas of a face that lie on the platen, and whether ink never goes."""
    edge = shapely.Polygon(plate.outline())
    parts = (
        (area.hard, valid(shapely.Polygon(pose.apply(area.polygon))).intersection(edge))
        for area in face.areas
    )
    return tuple(part for part in parts if part[1].area > SHORTEST * SHORTEST)


@functools.lru_cache(maxsize=8)
def _merged(areas: tuple[tuple[bool, BaseGeometry], ...]) -> tuple[tuple[XY, ...], ...]:
    """Return areas of the same kind that touch as one polygon each."""
    polygons = []
    for kind in dict.fromkeys(hard for hard, _ in areas):
        merged = shapely.union_all([shape for hard, shape in areas if hard is kind])
        for part in shapely.get_parts(merged):
            if part.geom_type == "Polygon" and part.area > SHORTEST * SHORTEST:
                ring = part.simplify(0.3).exterior.coords
                polygons.append(xy_tuple(np.asarray(ring)[:-1]))
    return tuple(polygons)


def _arrow(
    placement: Placement, pose: Isometry, plate: BaseGeometry, height: float
) -> list[Stroke]:
    """Return an arrow at the platen's edge on the centre line, pointing to the collar."""
    up = pose.matrix @ (0.0, -1.0)
    start = pose.apply([(centre_line(placement), 0.0)])[0]
    line = shapely.LineString([start, start - 2000 * up]).intersection(plate)
    if line.is_empty:
        return []
    tip = max(np.asarray(line.coords), key=lambda point: float(point @ up)) - 6 * up
    side = np.array([-up[1], up[0]])
    across = shapely.LineString([tip - 14 * up + 9 * side, tip - 14 * up - 9 * side])
    ends = np.asarray(across.intersection(plate.buffer(-LINE)).coords)
    if len(ends) < 2:
        return []
    points = xy_tuple([ends[0], tip, ends[-1]])
    return [Stroke(points, Role.LOAD, 2.0, dash=Dash.SOLID, height=height)]


def _level(placement: Placement, pose: Isometry, plate: BaseGeometry, height: float) -> list[Mark]:
    """Return the line both armpits must be level with."""
    level = placement.face.along.get("pit_line")
    if level is None or placement.face.name not in ("front", "back"):
        return []
    line = shapely.LineString([(-2000.0, level.value), (2000.0, level.value)])
    strokes = _strokes(line, pose, plate, Role.LOAD, LINE, height, Dash.DOTTED)
    return [*strokes]


def _stroke_shape(mark: Mark) -> BaseGeometry:
    if isinstance(mark, Stroke) and len(mark.points) >= 2:
        return shapely.LineString(mark.points).buffer(2.0)
    return text_shape(mark)
