"""The operator's display as a picture: drawn by the same engine as the light, on a flat map."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from calibration.geometry import PlatenFace
from chalkbeam.record.events import Step
from chalkbeam.station.display import ArtPicture, Display, GettingReady
from chalkbeam.station.dwell import whole_seconds
from overlay.draw.frame import Frame, Painter
from overlay.draw.page_map import FlatMap
from overlay.marks import Mark, Role, Stroke, Text
from overlay.palette import DEFAULT_PALETTE, RGB, Look
from overlay.text.typeface import set_line

WIDTH, HEIGHT = 1280.0, 720.0
"""The page all places below are given on, its origin at the bottom left, y up."""

SIZE = (1280, 720)
"""Usual size of the window, px."""

_PALETTE = replace(DEFAULT_PALETTE, check=Look((150, 156, 164)))
_MARGIN = 24.0
_PLAN = (_MARGIN, 66.0, 440.0, 690.0)  # left, bottom, right, top
_LEFT = 476.0
_RIGHT = WIDTH - _MARGIN
_CLOTH_SHARE = 0.45  # cloth is shown dim, so that lines can be told on white as well

_STEPS = (Step.LOAD, Step.LAY, Step.PRESS)


def draw(display: Display | GettingReady, size: tuple[int, int] = SIZE, at: float = 0.0) -> Frame:
    """Return the operator's display: the page as large as fits, in the middle.

    Parameters
    ----------
    display : Display or GettingReady
    size : tuple of int
        Width and height, px.
    at : float
        The time now on the monotonic clock, s; runs the countdown.
    """
    scale = min(size[0] / WIDTH, size[1] / HEIGHT)
    wide, high = max(1, round(WIDTH * scale)), max(1, round(HEIGHT * scale))
    picture = np.zeros((size[1], size[0], 3), dtype=np.uint8)
    left, top = (size[0] - wide) // 2, (size[1] - high) // 2
    page = picture[top : top + high, left : left + wide]
    page[:] = _page(display, (wide, high), scale, at)
    return picture


def _page(display: Display | GettingReady, size: tuple[int, int], scale: float, at: float) -> Frame:
    painter = _painter(FlatMap(size, scale))
    if isinstance(display, GettingReady):
        waiting = painter.paint(_getting_ready(display))
        assert waiting is not None  # there is always something to say
        return waiting
    words = painter.paint((*_head(display), *_body(display, at), *_foot(display)))
    assert words is not None
    seen = (display.face, display.cloth, display.plan, display.picture)
    picture, plan = words.copy(), _plan(*seen, size, scale)
    beside = picture[:, : plan.shape[1]]
    np.maximum(beside, plan, out=beside)
    return picture


@functools.lru_cache(maxsize=4)
def _painter(page: FlatMap) -> Painter:
    """Return what draws a page, and does not draw again what stands still on it."""
    return Painter(page, _PALETTE)


def seconds_left(display: Display | GettingReady, at: float) -> int | None:
    """Return the whole seconds that the dwell still runs; None if none runs."""
    if isinstance(display, GettingReady) or display.dwell_ends is None:
        return None
    return whole_seconds(display.dwell_ends, at)


def _getting_ready(ready: GettingReady) -> list[Mark]:
    """Return how far the order is got ready, in words and as a bar."""
    y = HEIGHT - _MARGIN
    marks: list[Mark] = [_text("getting ready …", _LEFT, y - 62, 26)]
    if ready.pieces:
        placed = f"{ready.done} of {ready.pieces} pieces placed"
        marks += [
            _text(ready.title, _RIGHT, y - 14, 14, Role.CHECK, right=True, room=420),
            _text(placed, _LEFT, y - 100, 20),
            *_bar(_MARGIN, _RIGHT, 22.0, ready.done / ready.pieces, Role.LAY),
        ]
    return marks


def _head(display: Display) -> list[Mark]:
    """Return which piece this is, and the steps."""
    y = HEIGHT - _MARGIN
    marks: list[Mark] = [
        _text(display.heading, _LEFT, y - 14, 14, Role.CHECK),
        _text(display.title, _RIGHT, y - 14, 14, Role.CHECK, right=True, room=420),
        _text(display.piece, _LEFT, y - 62, 26),
        _text(display.whose, _LEFT, y - 100, 20),
    ]
    if display.step is None:
        return marks
    marks.append(_text(f"{display.where}: {display.art}", _LEFT, y - 136, 16, Role.LAY))
    x = _LEFT
    for step in _STEPS:
        here = step is display.step
        word = _text(step.value, x, y - 182, 20, Role.NOTE if here else Role.CHECK)
        wide = set_line(step.value, 20).advance
        marks.append(word)
        if here:
            marks.append(Stroke(((x, y - 194), (x + wide, y - 194)), Role.NOTE, 5.0))
        x += wide + 44
    state = "paused" if display.paused else "light off" if display.dark else ""
    if state:
        marks.append(_text(state, _RIGHT, y - 182, 20, Role.LOAD, right=True))
    return marks


def _body(display: Display, at: float) -> list[Mark]:
    """Return the press settings, and below them a question, the countdown, or the lists."""
    y = 468.0
    marks: list[Mark] = []
    if display.settings:
        words = f"by the transfer's sheet: {display.settings}"
        marks.append(_text(words, _LEFT, y, 12, Role.CHECK))
        y -= 28
    if display.fitting:
        marks.append(_text(display.fitting, _LEFT, y - 4, 14, Role.LOAD))
        y -= 40
    if display.prepress and display.step in (Step.LOAD, Step.LAY):
        marks.append(_text(f"first pre-press: {display.prepress}", _LEFT + 6, y - 4, 14, Role.WARN))
        y -= 44
    if display.moved:
        marks.append(_text(f"moved {display.moved}", _LEFT, y, 12, Role.LAY))
        y -= 28
    if len(display.locations) > 1:
        marks += _locations(display, y)
        y -= 30
    left = seconds_left(display, at)
    if display.asked:
        asked = [part for line in display.asked for part in _wrapped(line, 16, _RIGHT - _LEFT)]
        for index, line in enumerate(asked):
            marks.append(_text(line, _LEFT, y - 20 - 34 * index, 16))
        return marks
    if left is not None:
        marks += _countdown(display, left)
        return marks
    _, top = _remarks(display)
    return [*marks, *_lists(display, y - 14, max(92.0, top))]


def _locations(display: Display, y: float) -> list[Mark]:
    """Return what the number keys choose from, the one in force plain."""
    marks: list[Mark] = []
    x = _LEFT
    for number, (name, here) in enumerate(display.locations, start=1):
        words = f"{number} {name}"
        wide = set_line(words, 11).advance
        if x + wide > _RIGHT:
            break
        marks.append(_text(words, x, y, 11, Role.NOTE if here else Role.CHECK))
        x += wide + 22
    return marks


def _countdown(display: Display, left: int) -> list[Mark]:
    word = "open the press" if left == 0 else "seconds"
    role = Role.LOAD if left == 0 else Role.NOTE
    middle = (_LEFT + _RIGHT) / 2
    lift = max(0.0, _remarks(display)[1] - 100.0)
    marks: list[Mark] = [
        Text((middle, 210.0 + lift), f"{left}", role, 150.0 - lift, (0.5, 0.0)),
        Text((middle, 160.0 + lift), word, role, 22.0, (0.5, 0.0)),
    ]
    if display.dwell:
        share = left / max(display.dwell, 1.0)
        marks += _bar(_LEFT, _RIGHT, 120.0 + lift, min(share, 1.0), role)
    return marks


def _lists(display: Display, y: float, floor: float) -> list[Mark]:
    """Return what comes next and what was done last, from y down to the floor."""
    marks: list[Mark] = []
    for title, lines, most in (("next", display.coming, 6), ("done last", display.results, 3)):
        if not lines or y < floor + 38:
            continue
        marks.append(_text(title, _LEFT, y, 12, Role.CHECK))
        y -= 28
        for what, more in lines[:most]:
            if y < floor:
                break
            aside = set_line(more, 12).advance + 24 if more else 0.0
            marks.append(_text(what, _LEFT, y, 12, room=_RIGHT - _LEFT - aside))
            if more:
                marks.append(_text(more, _RIGHT, y, 12, Role.LOAD, right=True))
            y -= 26
        y -= 10
    return marks


def _foot(display: Display) -> list[Mark]:
    """Return progress, time left, and what is to be said."""
    said = [f"{display.pressed} of {display.total} pressed"]
    said += [f"{display.skipped} skipped"] if display.skipped else []
    said += [f"{display.spoiled} spoiled"] if display.spoiled else []
    share = display.pressed / display.total if display.total else 0.0
    marks: list[Mark] = [
        _text(" · ".join(said), _MARGIN, 40, 12),
        _text(f"about {display.left} left", _RIGHT, 40, 12, right=True),
        *_bar(_MARGIN, _RIGHT, 22.0, share, Role.LAY),
    ]
    return [*marks, *_remarks(display)[0]]


def _remarks(display: Display) -> tuple[list[Mark], float]:
    """Return what is wrong and the last remark, and how far up they reach."""
    marks: list[Mark] = []
    y = 72.0
    for words in (display.trouble, display.remark):
        if words:
            lines = _wrapped(words, 12, _RIGHT - _LEFT - 20)
            marks.append(Text((_LEFT + 8, y), "\n".join(lines), Role.WARN, 12.0, (0.0, 0.0)))
            y += 12 * 1.75 * len(lines) + 22
    return marks, y


def _bar(left: float, right: float, y: float, share: float, role: Role) -> list[Mark]:
    marks: list[Mark] = [Stroke(((left, y), (right, y)), Role.CHECK, 2.0)]
    if share > 0:
        marks.append(Stroke(((left, y), (left + share * (right - left), y)), role, 8.0))
    return marks


def _text(
    words: str,
    x: float,
    y: float,
    cap: float,
    role: Role = Role.NOTE,
    *,
    right: bool = False,
    room: float = _RIGHT - _LEFT,
) -> Text:
    """Return a line of text that starts (or ends) at x, cut short where there is no room."""
    shown = words
    while shown and set_line(shown, cap).advance > room:
        words = words[:-1]
        shown = f"{words.rstrip()}…"
    return Text((x, y), shown, role, cap, (1.0 if right else 0.0, 0.0))


def _wrapped(words: str, cap: float, room: float) -> Sequence[str]:
    from overlay.text.wrap import wrapped

    return wrapped(words, cap, room)


@functools.lru_cache(maxsize=2)
def _plan(
    face: PlatenFace,
    cloth: RGB,
    lines: tuple[Mark, ...],
    art: ArtPicture | None,
    size: tuple[int, int],
    scale: float,
) -> Frame:
    """Return the platen as seen from above, the garment's cloth, the art, and the lines on it.

    Only the columns up to where the words begin.
    """
    left, bottom, right, top = _PLAN
    unit = min((right - left) / face.width, (top - bottom) / face.depth)
    middle = ((left + right) / 2 / unit, (bottom + top) / 2 / unit)
    columns = max(1, round((_LEFT - 8) * scale))
    plan = FlatMap((columns, size[1]), scale * unit, -middle[0], -middle[1])
    picture = np.zeros((size[1], columns, 3), dtype=np.uint8)
    edge = plan.projector_from_platen(face.outline())
    shade = tuple(round(_CLOTH_SHARE * channel) for channel in cloth[::-1])
    corners = np.rint(edge * 256).astype(np.int32)
    cv2.fillPoly(picture, [corners], shade, cv2.LINE_AA, 8)
    if art is not None:
        picture = _with_art(picture, art, plan)
    drawn = _painter(plan).paint(lines)
    assert drawn is not None
    # Where a line is bright it hides what it lies on; nothing else needs mixing.
    lit = np.flatnonzero(drawn[:, :, 0] | drawn[:, :, 1] | drawn[:, :, 2])
    over, under = drawn.reshape(-1, 3)[lit], picture.reshape(-1, 3)[lit]
    cover = over.max(axis=1, keepdims=True).astype(np.uint16)
    picture.reshape(-1, 3)[lit] = np.minimum(over + under * (255 - cover) // 255, 255)
    return picture


def _with_art(picture: Frame, art: ArtPicture, plan: FlatMap) -> Frame:
    """Return the picture with the artwork laid on it."""
    height, width, _ = art.rgba.shape
    x, y = art.width / 2, art.height / 2
    laid = plan.projector_from_platen(art.platen_from_art.apply([(-x, -y), (x, -y), (-x, y)]))
    # The ink's box reaches from outer pixel edge to outer pixel edge.
    pixels = np.array([(-0.5, -0.5), (width - 0.5, -0.5), (-0.5, height - 0.5)])
    matrix = cv2.getAffineTransform(pixels.astype(np.float32), laid.astype(np.float32))
    alpha = art.rgba[:, :, 3:].astype(np.float32) / 255
    premultiplied = np.dstack([art.rgba[:, :, 2::-1] * alpha, alpha]).astype(np.float32)
    warped = cv2.warpAffine(
        premultiplied, matrix, (picture.shape[1], picture.shape[0]), flags=cv2.INTER_AREA
    )
    shown = np.flatnonzero(warped[:, :, 3])
    over, under = warped.reshape(-1, 4)[shown], picture.reshape(-1, 3)[shown]
    mixed: NDArray[np.float32] = over[:, :3] + under * (1 - over[:, 3:])
    laid_on = picture.copy()
    laid_on.reshape(-1, 3)[shown] = np.clip(np.rint(mixed), 0, 255).astype(np.uint8)
    return laid_on
