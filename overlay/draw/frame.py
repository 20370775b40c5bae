"""Marks in millimetres to a frame of projector pixels, through the map of a rig.

Nothing is drawn in pixels and warped: every line and letter is a polygon in
millimetres whose vertices go through the map, so widths, dashes and lettering
keep their true size on the platen however the oblique projector squeezes them.
Edges are anti-aliased by the exact area that a polygon covers of each pixel.
"""

from __future__ import annotations

import functools
import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import ArrayLike

from calibration.geometry import Isometry, Points, rectangle
from overlay.contours import Contours
from overlay.draw.composed import Canvases, Dark, Lit, dark, lit, size_of
from overlay.draw.composed import Frame as Frame
from overlay.draw.strokes import REACH, STEP, hatch, stroke
from overlay.marks import LEADING, Crosshair, Dash, Hatch, Mark, Stroke, Text
from overlay.palette import DEFAULT_PALETTE, RGB, Palette
from overlay.text.typeface import set_line


class PlatenMap(Protocol):
    """Where the projector's pixels and the platen's millimetres meet."""

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the projector's picture, px."""

    def projector_from_platen(self, points: ArrayLike, height: ArrayLike = 0.0) -> Points:
        """Return the pixels, shape (N, 2), of platen points (N, 2), mm, at heights, mm."""


_TEXT_CLEARANCE = 0.35
"""Lines stop this far from lettering and boxes, in cap heights, as drafting breaks lines at
figures."""

_DIGITS = 6
"""Strokes count as the same form if they agree to so many digits, mm. Shifting one over the platen
changes its form by less than that, through rounding."""

_BOX_SPACE = 0.5
"""Boxes stand this far off their lettering, in cap heights."""


def render(marks: Sequence[Mark], platen_map: PlatenMap, palette: Palette) -> Frame:
    """Return the frame that lights `marks` on the platen.

    Where lines of different colours cross, each channel takes the brighter; lines
    stop short of lettering, so that it can be read. Marks, or parts of marks,
    that miss the frame, lie behind the projector or are invalid (not a number,
    no width) are left out.

    Parameters
    ----------
    marks : sequence of Mark, platen frame, mm
    platen_map : PlatenMap
        The rig's map; its `size` is the frame's.
    palette : Palette
        Colours and line styles by role.

    Returns
    -------
    ndarray of uint8, shape (h, w, 3), BGR
    """
    layers = _layers(marks, palette)
    drawn = zip((layer.colour for layer in layers), _drawn(layers, platen_map), strict=True)
    return Canvases(platen_map.size).drawn([*drawn], palette.gamma)


class Painter:
    """Renders marks and keeps the last frames: what has not changed is the same array.

    Layers are kept too: where lines move and words do not, only the lines are drawn. So are those
    drawn ahead.

    Parameters
    ----------
    platen_map : PlatenMap
    palette : Palette
        Used where `paint` is given none.
    keep : int
        How many frames are kept; a 4K frame takes 25 MB.
    """

    def __init__(
        self, platen_map: PlatenMap, palette: Palette = DEFAULT_PALETTE, keep: int = 1
    ) -> None:
        self._platen_map, self._palette = platen_map, palette
        self._keep = keep
        self._frames: list[tuple[Sequence[Mark], Palette, Frame]] = []
        self._drawn: dict[Layer, Lit | Dark] = {}
        self._canvases = Canvases(platen_map.size)

    def paint(self, marks: Sequence[Mark] | None, palette: Palette | None = None) -> Frame | None:
        """Return the frame of `marks`; None (darkness) for None. See `render`."""
        if marks is None:
            return None
        palette = palette or self._palette
        alike = [known for known in self._frames if known[0] == marks and known[1] == palette]
        wanted = alike[0] if alike else (marks, palette, self._render(marks, palette))
        others = [known for known in self._frames if known is not wanted]
        self._frames = [wanted, *others][: self._keep]
        return wanted[2]

    def ahead(self, marks: Sequence[Mark] | None, palette: Palette | None = None) -> Iterator[None]:
        """Draw what `paint` may be asked for next, a layer at a time: it is not painted yet."""
        if self._canvases.clear():
            yield
        for layer in _layers(marks or (), palette or self._palette):
            known = layer in self._drawn
            self._draw([layer])  # one that is known counts as used: others go before it
            if not known:
                yield

    def _render(self, marks: Sequence[Mark], palette: Palette) -> Frame:
        """Return the same as `render`, drawing only the layers that have changed."""
        layers = _layers(marks, palette)
        drawn = zip((layer.colour for layer in layers), self._draw(layers), strict=True)
        return self._canvases.drawn([*drawn], palette.gamma)

    def _draw(self, layers: Sequence[Layer]) -> list[Lit | Dark]:
        """Return layers drawn, by now or before; those used last are kept, as many as may be."""
        missing = [layer for layer in layers if layer not in self._drawn]
        known = self._drawn | dict(zip(missing, _drawn(missing, self._platen_map), strict=True))
        for layer in layers:  # the ones used last go last
            known[layer] = known.pop(layer)
        spent = itertools.accumulate(size_of(drawn) for drawn in reversed(known.values()))
        width, height = self._platen_map.size
        kept = max(len(layers), sum(each <= _MOST_FRAMES * 3 * width * height for each in spent))
        self._drawn = dict(list(known.items())[-kept:])
        return [known[layer] for layer in layers]


_MOST_FRAMES = 4
"""As many frames' bytes may the layers take that a painter keeps: those of some thirty pictures,
of which a key may bring twenty."""

Shape = tuple[Contours, float]
"""Polygons on one surface: contours, mm, and the surface's height, mm."""

Part = tuple[Callable[[Any, Any], Contours], Mark, object]
"""What to call with a mark and its style for polygons, mm."""


@dataclass(frozen=True)
class Layer:
    """What is lit in one colour, or (None) kept dark."""

    colour: RGB | None
    parts: tuple[Part, ...]

    @functools.cached_property
    def _hash(self) -> int:
        return hash((self.colour, self.parts))

    def __hash__(self) -> int:
        """Return a hash that is worked out once: marks have thousands of points."""
        return self._hash


def _layers(marks: Sequence[Mark], palette: Palette) -> list[Layer]:
    """Return the layers from the lowest up: lines by colour, room for lettering, lettering."""
    lines: dict[RGB, list[Part]] = {}
    rooms: list[Part] = []
    letters: dict[RGB, list[Part]] = {}
    for mark in marks:
        if not math.isfinite(mark.height):
            continue
        look = palette.look(mark.role)
        if isinstance(mark, Text):
            letters.setdefault(look.colour, []).append((_letters, mark, look.boxed))
            rooms.append((_room, mark, look.boxed))
        else:
            lines.setdefault(look.colour, []).append((_lines, mark, look.dash))
    layers = [Layer(colour, tuple(parts)) for colour, parts in lines.items()]
    layers.append(Layer(None, tuple(rooms)))
    layers.extend(Layer(colour, tuple(parts)) for colour, parts in letters.items())
    return layers


def _drawn(layers: Sequence[Layer], platen_map: PlatenMap) -> list[Lit | Dark]:
    """Return what each layer covers of the frame."""
    shapes = [
        [(make(mark, style), mark.height) for make, mark, style in layer.parts] for layer in layers
    ]
    return [
        (dark if layer.colour is None else lit)(contours, platen_map.size)
        for layer, contours in zip(layers, _project(shapes, platen_map), strict=True)
    ]


@functools.lru_cache(maxsize=256)
def _lines(mark: Stroke | Crosshair | Hatch, dash: Dash) -> Contours:
    """Return a mark's lines as polygons, mm. `dash` is that of its role."""
    if isinstance(mark, Stroke):
        return _stroked(mark, mark.dash or dash)
    if isinstance(mark, Hatch):
        polygon = np.array(mark.polygon, dtype=np.float64).reshape(-1, 2)
        edge = stroke(polygon, mark.width, closed=True, dash=dash)
        return Contours.joined([edge, hatch(polygon, mark.spacing, mark.angle, mark.width)])
    if not (math.isfinite(mark.angle) and math.isfinite(mark.arm)):
        return Contours.empty()
    arms = np.array([[[-1, 0], [1, 0]], [[0, -1], [0, 1]]]) * mark.arm
    pose = Isometry(*mark.centre, mark.angle)
    return Contours.joined([stroke(pose.apply(arm), mark.width) for arm in arms])


def _stroked(mark: Stroke, dash: Dash) -> Contours:
    """Return a stroke as polygons; one that was only shifted is not worked out again."""
    points = np.array(mark.points, dtype=np.float64).reshape(-1, 2)
    if not len(points) or not np.abs(points).max() <= REACH:  # cut off there, wherever it is
        return stroke(points, mark.width, mark.closed, dash)
    start = points[0]
    form = np.round(points - start, _DIGITS)
    drawn = _stroked_form(form.tobytes(), mark.width, mark.closed, dash)
    return drawn.moved(drawn.points + start)


@functools.lru_cache(maxsize=256)
def _stroked_form(form: bytes, width: float, closed: bool, dash: Dash) -> Contours:
    points = np.frombuffer(form, dtype=np.float64).reshape(-1, 2)
    return stroke(points, width, closed, dash)


def _room(mark: Text, boxed: bool) -> Contours:
    """Return the room around lettering that lines keep off, mm."""
    return _text(mark, boxed)[1]


def _letters(mark: Text, boxed: bool) -> Contours:
    """Return lettering and its box, mm."""
    glyphs, _, box = _text(mark, boxed)
    return Contours.joined([glyphs, box])


@functools.lru_cache(maxsize=128)
def _text(mark: Text, boxed: bool) -> tuple[Contours, Contours, Contours]:
    """Return lettering, the room around it that lines keep off, and its box, as polygons, mm."""
    numbers = (*mark.anchor, *mark.align, mark.size, mark.angle)
    if not (all(map(math.isfinite, numbers)) and 0 < mark.size < REACH) or not mark.text.strip():
        return Contours.empty(), Contours.empty(), Contours.empty()
    lines = [set_line(line, mark.size) for line in mark.text.split("\n")]
    across, along = mark.align
    tall = (1 + LEADING * (len(lines) - 1)) * mark.size
    pose = Isometry(*mark.anchor, mark.angle)
    glyphs: list[Contours] = []
    inked: list[Points] = []
    for index, line in enumerate(lines):
        shift = (-across * line.advance, (1 - along) * tall - mark.size * (1 + LEADING * index))
        glyphs.append(line.contours.moved(line.contours.points + shift))
        left, bottom, right, top = line.ink
        inked.append(
            np.add([(left, bottom), (right, top), (0, 0), (line.advance, mark.size)], shift)
        )
    low, high = np.vstack(inked).min(axis=0), np.vstack(inked).max(axis=0)

    def around(by: float) -> Points:
        return pose.apply(rectangle(*(high - low + 2 * by)) + (low + high) / 2)

    space, clear = _BOX_SPACE * mark.size, _TEXT_CLEARANCE * mark.size
    box = stroke(around(space), 0.12 * mark.size, closed=True) if boxed else Contours.empty()
    room = _cut(Contours.of([around(clear + (space if boxed else 0.0))]))
    lettering = Contours.joined(glyphs)
    if mark.size > STEP * 2:  # small letters need no cutting: their edges are short
        lettering = _cut(lettering)
    return lettering.moved(pose.apply(lettering.points)), room, box


def _cut(contours: Contours) -> Contours:
    """Return the same polygons with no edge longer than STEP."""
    following = np.arange(1, len(contours.points) + 1)
    following[contours.ends - 1] = contours.starts
    edges = contours.points[following] - contours.points
    lengths = np.hypot(*edges.T)
    counts = np.clip(np.ceil(lengths / STEP), 1, 2 * REACH / STEP).astype(np.int64)
    index = np.repeat(np.arange(len(counts)), counts)
    rank = np.arange(len(index)) - np.repeat(np.cumsum(counts) - counts, counts)
    points = contours.points[index] + edges[index] * (rank / counts[index])[:, None]
    return Contours(points, np.cumsum(counts)[contours.ends - 1])


def _project(layers: Sequence[Sequence[Shape]], platen_map: PlatenMap) -> list[Contours]:
    """Return each layer's polygons in px, without those that the map turns over.

    A map through a lens is valid only in front of it. Behind it, and where a lens
    polynomial folds back, the picture is mirrored. A polygon there is known by its
    turning the other way than the same polygon would at the platen's middle.
    """
    parts = [[contours for contours, _ in shapes] for shapes in layers]
    flat = [Contours.joined(contours) for contours in parts]
    heights = [
        np.repeat([h for _, h in shapes], [len(c.points) for c, _ in shapes]) for shapes in layers
    ]
    probe = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    points = np.vstack([probe, *(contours.points for contours in flat)])
    with np.errstate(all="ignore"):
        pixels = platen_map.projector_from_platen(
            points, np.concatenate([np.zeros(len(probe)), *heights])
        )
    right, away = pixels[1] - pixels[0], pixels[2] - pixels[0]
    turn = np.sign(right[0] * away[1] - right[1] * away[0])
    pixels = np.where(np.isfinite(pixels), pixels, np.inf)
    ends = np.cumsum([len(probe), *(len(contours.points) for contours in flat)])
    projected = []
    for contours, start, end in zip(flat, ends[:-1], ends[1:], strict=True):
        mapped = contours.moved(pixels[start:end])
        with np.errstate(invalid="ignore"):
            alike = mapped.areas() * contours.areas() * turn > 0
        projected.append(mapped.chosen(alike) if len(mapped) else mapped)
    return projected
