"""Garments: styles, sizes and landmarks, flat, in millimetres.

`garment` is what other parts call: it takes a style and a size as people write
them and returns a frozen `Garment`. See `chalkbeam.garments.model` for the
frames, ``data/`` for the charts, rules and styles.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.basics.toml_files import FolderState, folder_state
from chalkbeam.garments.bags import panel_face
from chalkbeam.garments.draft import Measures
from chalkbeam.garments.grading import measures_of
from chalkbeam.garments.hoods import hood_face
from chalkbeam.garments.library import (
    builtin_styles,
    charts_folder,
    find_size,
    find_style,
    is_size,
    shop_charts,
    style_sizes,
)
from chalkbeam.garments.model import (
    AGES,
    FITS,
    Age,
    Area,
    Face,
    Fit,
    Garment,
    Landmark,
    Line,
    Measure,
)
from chalkbeam.garments.panels import PANELS
from chalkbeam.garments.schema import MM_PER, Style
from chalkbeam.garments.sleeves import sleeve_face
from chalkbeam.garments.tops import check_top, top_face
from chalkbeam.garments.trousers import check_leg, leg_face

__all__ = [
    "AGES",
    "FITS",
    "Age",
    "Area",
    "Face",
    "Fit",
    "Garment",
    "Landmark",
    "Line",
    "Measure",
    "charts_folder",
    "garment",
    "is_size",
    "sizes",
    "styles",
]


def styles(charts_dir: Path | None = None) -> tuple[str, ...]:
    """Return the names of all styles, the shop's included; not those whose chart is broken."""
    charts = shop_charts(charts_dir)
    charts.remark()
    builtin = (key for key in builtin_styles() if key not in charts.broken)
    return tuple(dict.fromkeys([*builtin, *charts.found]))


def sizes(style: str, *, fit: Fit = "regular", charts_dir: Path | None = None) -> tuple[str, ...]:
    """Return the names of a style's sizes in one fit, smallest age first.

    Raises
    ------
    Refusal
        If there is no such style.
    """
    key, found, shop = find_style(style, charts_dir)
    return tuple(name for its_fit, name in style_sizes(key, found, shop) if its_fit == fit)


def _faces(m: Measures, style: Style) -> dict[str, Face]:
    """Draft every face of a style."""
    if style.cut == "bag":
        return {"panel": panel_face(m)}
    if style.cut in PANELS:
        return {"panel": PANELS[style.cut](m)}
    if style.cut == "trousers":
        check_leg(m)
        return {name: leg_face(m, style, name) for name in ("left_leg", "right_leg")}
    check_top(m)
    faces = {"front": top_face(m, style, "front"), "back": top_face(m, style, "back")}
    if style.sleeve != "none":
        faces |= {name: sleeve_face(m, style, name) for name in ("left_sleeve", "right_sleeve")}
    if style.neckline == "hood":
        faces |= {name: hood_face(m, name) for name in ("left_hood", "right_hood")}
    return faces


@functools.lru_cache(maxsize=512)
def _draft(
    style: str,
    size: str,
    fit: Fit,
    measured: tuple[tuple[str, float], ...],
    charts_dir: Path | None,
    charts_state: FolderState,
) -> Garment:
    key, found, shop = find_style(style, charts_dir)
    name = shop.label if shop else found.label
    chart = style_sizes(key, found, shop)
    row = find_size(size, fit, name, chart)
    fitted = "" if fit == "regular" else "women's "
    aged = "" if found.cut in ("bag", *PANELS) else f"{row.age} "
    label = f"{name}, {fitted}{aged}{row.name}"
    run = [each for (its_fit, _), each in chart.items() if its_fit == fit]
    measures = measures_of(found, row, dict(measured), run)
    return Garment(
        style=key,
        size=row.name,
        fit=fit,
        label=label,
        age=row.age,
        thickness=found.thickness * MM_PER[found.unit],
        tolerance=row.tolerance,
        measures=measures,
        _faces=_faces(Measures(label, measures), found),
        remark=found.remark,
    )


def garment(
    style: str,
    size: str,
    *,
    fit: Fit = "regular",
    measured: Mapping[str, float] | None = None,
    charts_dir: Path | None = None,
) -> Garment:
    """Return a style in a size, with its landmarks on every face.

    Parameters
    ----------
    style : str
        A style's name, label or another of its names: "crew_tee", "Crew tee", "t-shirt".
    size : str
        As people write it: "M", "2XL", "XXL", "YM", "youth M", "5/6", "18 months".
    fit : {"regular", "womens"}
    measured : mapping of measure name to mm, optional
        Lengths taken on the very piece; they go before any chart, and the rules
        derive from them what they did not give.
    charts_dir : Path, optional
        Folder of the shop's charts; by default the user's.

    Raises
    ------
    Refusal
        If there is no such style, size, fit or measure, listing what there is; or if
        measures contradict each other.
    """
    if fit not in FITS:
        raise Refusal(f"There is no fit “{fit}”: take one of {', '.join(FITS)}.")
    folder = charts_dir or charts_folder()
    taken = tuple(sorted((measured or {}).items()))
    return _draft(style, size, fit, taken, charts_dir, folder_state(folder))
