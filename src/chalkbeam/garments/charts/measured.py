"""A shop's own style from one piece laid down and measured: its size, and its neighbours scaled."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from calibration.files import write_whole
from calibration.refusal import Refusal
from chalkbeam.garments import garment
from chalkbeam.garments.charts.reading import BOX_TOLERANCE
from chalkbeam.garments.charts.storing import ChartHead, ChartRows, rows_text, style_key
from chalkbeam.garments.grading import measures_of
from chalkbeam.garments.library import (
    Size,
    builtin_styles,
    charts_folder,
    find_size,
    find_style,
    shop_charts,
    style_sizes,
)
from chalkbeam.garments.model import Fit, Measure

MEASURED = "measured on one piece"
"""Basis of sizes that were laid down and measured."""
SCALED_TOLERANCE = round(1.5 * BOX_TOLERANCE, 2)
"""± mm of a size that is scaled from another: makers grade otherwise than our chart; common
practice, no source."""


def keep_measured(
    like: str,
    size: str,
    lengths: Mapping[str, float],
    *,
    maker: str,
    number: str,
    fit: Fit = "regular",
    folder: Path | None = None,
) -> Path:
    """Keep a piece that was measured as a size of its maker's style; return the chart's file.

    The other sizes of its age are scaled by what the piece differs from the built-in chart;
    each from the measured size nearest to it. Sizes measured earlier stay.

    Parameters
    ----------
    like : str
        The built-in style that it is cut like.
    size : str
    lengths : mapping of measure name to mm
        At least one; the more, the less is graded.
    maker, number : str
        Who makes it and the maker's style number.
    fit : Fit
    folder : Path, optional
        Where the shop's charts lie; by default the user's folder.

    Raises
    ------
    Refusal
        If there is no such style or size, a length is not believed, or the maker's style is
        known already by an imported chart.
    """
    key, style, _ = find_style(like, folder)
    if key not in builtin_styles():
        raise Refusal(
            f"“{like}” is the shop's own: say which of Chalkbeam's styles it is cut like."
        )
    if not lengths:
        raise Refusal("No length is given: measure the half chest and the body length at least.")
    label = f"{maker} {number}".strip()
    own = style_key(label)
    if own in builtin_styles():
        raise Refusal(f"“{label}” is one of Chalkbeam's own styles: say its maker, too.")
    known = style_sizes(key, style)
    ours = find_size(size, fit, style.label, known)
    run = [each for (its_fit, _), each in known.items() if its_fit == fit]
    measures_of(style, ours, dict(lengths), run)  # refuses what is not believed
    measured = _earlier(own, key, label, folder)
    measured[fit, ours.name] = dict(lengths)
    sizes: list[Size] = []
    for (its_fit, name), taken in measured.items():
        row = known[its_fit, name]
        sizes.append(Size(name, row.age, its_fit, BOX_TOLERANCE, _as_given(taken)))
    scaled: dict[str, list[Size]] = {}
    for its_fit in dict.fromkeys(each for each, _ in measured):
        there = [each for (one, _), each in known.items() if one == its_fit]
        for place, row in enumerate(there):
            near = _nearest(place, there, its_fit, measured)
            if (its_fit, row.name) in measured or near is None:
                continue
            usual = measures_of(style, row, {})
            base = measures_of(style, near, {})
            taken = {
                name: usual[name].value * length / base[name].value
                for name, length in measured[its_fit, near.name].items()
            }
            scaled.setdefault(near.name, []).append(
                Size(row.name, row.age, its_fit, SCALED_TOLERANCE, _as_given(taken))
            )
    text = rows_text(
        ChartHead(label, key, maker, number, MEASURED),
        [
            ChartRows(tuple(sizes), MEASURED),
            *(
                ChartRows(
                    tuple(rows), f"scaled from the {name} that was measured", SCALED_TOLERANCE
                )
                for name, rows in scaled.items()
            ),
        ],
    )
    target = (folder or charts_folder()) / f"{own}.toml"
    write_whole(target, text.encode())
    garment(own, ours.name, fit=fit, charts_dir=folder)
    return target


def _as_given(lengths: Mapping[str, float]) -> dict[str, Measure]:
    return {name: Measure(length, BOX_TOLERANCE) for name, length in lengths.items()}


def _earlier(
    own: str, like: str, label: str, folder: Path | None
) -> dict[tuple[Fit, str], dict[str, float]]:
    """Return the lengths of the sizes measured earlier."""
    chart = shop_charts(folder).found.get(own)
    if chart is None:
        return {}
    if chart.basis != MEASURED or chart.like != like:
        raise Refusal(
            f"{label} is on the shelf already, cut like {chart.like.replace('_', ' ')} and "
            f"{chart.basis}: remove that chart first, or give the piece's lengths with the order."
        )
    return {
        (table.fit, name): dict(zip(table.columns, row, strict=True))
        for table in chart.table
        if table.basis == MEASURED
        for name, row in table.sizes.items()
    }


def _nearest(
    place: int,
    run: list[Size],
    fit: Fit,
    measured: Mapping[tuple[Fit, str], Mapping[str, float]],
) -> Size | None:
    """Return the measured size of the same age that is nearest in a run of sizes."""
    there = [
        (abs(other - place), each)
        for other, each in enumerate(run)
        if (fit, each.name) in measured and each.age == run[place].age
    ]
    return min(there, key=lambda each: each[0])[1] if there else None
