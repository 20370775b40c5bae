"""The shop's size charts, stored as data files in the user's folder."""

from __future__ import annotations

import dataclasses
import re
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from calibration.files import write_whole
from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.garments import garment
from chalkbeam.garments.charts.reading import BOX_TOLERANCE, ChartProblem, ReadChart, read_chart
from chalkbeam.garments.library import Size, builtin_styles, charts_folder, find_style
from chalkbeam.garments.model import Age, Fit


@dataclasses.dataclass(frozen=True)
class ChartRows:
    """Sizes of one origin.

    Attributes
    ----------
    sizes : tuple of Size
    basis : str or None
        Where their lengths come from; None for that of the whole chart.
    tolerance : float or None
        Between pieces of one box, ± mm; None likewise.
    """

    sizes: tuple[Size, ...]
    basis: str | None = None
    tolerance: float | None = None


def chart_text(
    read: ReadChart, label: str, like: str, source: str, maker: str = "", number: str = ""
) -> str:
    """Return a chart as the text of a data file (see `schema.ShopChart`), lengths in mm."""
    head = ChartHead(label, like, maker, number, f"imported from {source}")
    return rows_text(head, [ChartRows(read.sizes)])


class ChartHead(NamedTuple):
    """What a chart says of all its sizes; see `schema.ShopChart`."""

    label: str
    like: str
    maker: str
    number: str
    basis: str


def rows_text(head: ChartHead, rows: Sequence[ChartRows]) -> str:
    """Return a chart of sizes of several origins as the text of a data file, lengths in mm."""
    import tomlkit

    document = tomlkit.document()
    document.add(tomlkit.comment("A shop's own sizes, in mm, flat; edit freely."))
    document.add(tomlkit.comment("What a row leaves out is graded, or taken from the style's own."))
    for key, value in (
        ("label", head.label), ("like", head.like), ("maker", head.maker),
        ("number", head.number), ("unit", "mm"), ("basis", head.basis),
        ("tolerance", BOX_TOLERANCE),
    ):  # fmt: skip
        if value:
            document.add(key, tomlkit.item(value))
    tables = tomlkit.aot()
    for part in rows:
        groups: dict[tuple[Fit, Age, tuple[str, ...]], list[Size]] = {}
        for size in part.sizes:
            groups.setdefault((size.fit, size.age, tuple(size.given)), []).append(size)
        for (fit, age, columns), members in groups.items():
            table = tomlkit.table()
            table.add("age", age)
            table.add("fit", fit)
            for key, said in (("basis", part.basis), ("tolerance", part.tolerance)):
                if said is not None:
                    table.add(key, said)
            table.add("columns", list(columns))
            lengths = tomlkit.table()
            for size in members:
                lengths.add(size.name, [round(size.given[column].value, 2) for column in columns])
            table.add("sizes", lengths)
            tables.append(table)
    document.add("table", tables)
    return tomlkit.dumps(document)


def check_drafts(read: ReadChart, text: str, key: str) -> tuple[ChartProblem, ...]:
    """Return a problem for every size whose measures make no garment."""
    problems = []
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / f"{key}.toml").write_text(text, encoding="utf-8")
        for size, row in zip(read.sizes, read.rows, strict=True):
            try:
                garment(key, size.name, fit=size.fit, charts_dir=Path(folder))
            except Refusal as refusal:
                problems.append(ChartProblem(row, "", str(refusal)))
    return tuple(problems)


def style_key(name: str) -> str:
    """Return a style's key from the name a shop gives it: "House tee" → "house_tee".

    Raises
    ------
    Refusal
        If the name holds no letter to begin with.
    """
    key = "_".join(re.findall(r"[a-z0-9]+", name.lower()))
    if not re.fullmatch(r"[a-z][a-z0-9_]*", key):
        raise Refusal(f"“{name}” cannot name a style: begin with a letter, such as House tee.")
    return key


def import_chart(
    path: Path,
    style: str,
    *,
    name: str | None = None,
    unit: str | None = None,
    fit: Fit = "regular",
    replace: bool = False,
    folder: Path | None = None,
    sure: bool = False,
    maker: str = "",
    number: str = "",
) -> tuple[Path | None, ReadChart]:
    """Read a chart and, if it has no fault, store it in the shop's folder.

    Parameters
    ----------
    path : Path
        CSV or XLSX.
    style : str
        The built-in style that the garments are cut like.
    name : str, optional
        Name of a new style of the shop's; without it the chart changes `style` itself.
    unit, fit
        See `read_chart`.
    replace : bool
        Whether an earlier chart of that name may be replaced.
    folder : Path, optional
        Where the shop's charts lie; by default the user's folder.
    sure : bool
        Whether lengths are believed however far they are from the usual.
    maker, number : str
        Who makes it and the maker's style number, by which it is found again, too.

    Returns
    -------
    (Path or None, ReadChart)
        Where it was stored; None if there are problems, and then nothing was written.

    Raises
    ------
    Refusal
        As `read_chart`; or if a chart of that name is there and `replace` is not set.
    """
    like, found, _ = find_style(style, folder, broken=replace)
    if like not in builtin_styles():
        raise Refusal(
            f"“{style}” is the shop's own: say which of Chalkbeam's styles it is cut like."
        )
    name = name or f"{maker} {number}".strip() or None
    key = style_key(name) if name else like
    target = (folder or charts_folder()) / f"{key}.toml"
    if target.exists() and not replace:
        raise Refusal(
            f"There is a chart {target} already: ",
            Remedy(RemedyKind.REPLACE, "replace it"),
            ", or give another name.",
        )
    if name and key != like and key in builtin_styles():
        raise Refusal(f"“{name}” is one of Chalkbeam's own styles: choose another name.")
    read = read_chart(path, like, unit, fit, sure)
    if read.problems:
        return None, read
    text = chart_text(read, name or found.label, like, path.name, maker, number)
    problems = check_drafts(read, text, key)
    if problems:
        return None, dataclasses.replace(read, problems=problems)
    write_whole(target, text.encode())
    return target, read
