"""The shop's size charts, stored as data files in the user's folder."""

from __future__ import annotations

import dataclasses
import re
import tempfile
from pathlib import Path

from calibration.files import write_whole
from calibration.refusal import Refusal, Remedy, RemedyKind
from chalkbeam.garments import garment
from chalkbeam.garments.charts.reading import BOX_TOLERANCE, ChartProblem, ReadChart, read_chart
from chalkbeam.garments.library import Size, builtin_styles, charts_folder, find_style
from chalkbeam.garments.model import Age, Fit


def chart_text(read: ReadChart, label: str, like: str, source: str) -> str:
    """Return a chart as the text of a data file (see `schema.ShopChart`), lengths in mm."""
    import tomlkit

    document = tomlkit.document()
    document.add(tomlkit.comment("A shop's own sizes, in mm, flat; edit freely."))
    document.add(tomlkit.comment("What a row leaves out is graded, or taken from the style's own."))
    for key, value in (
        ("label", label), ("like", like), ("unit", "mm"), ("basis", f"imported from {source}"),
        ("tolerance", BOX_TOLERANCE),
    ):  # fmt: skip
        document.add(key, tomlkit.item(value))
    tables = tomlkit.aot()
    groups: dict[tuple[Fit, Age, tuple[str, ...]], list[Size]] = {}
    for size in read.sizes:
        groups.setdefault((size.fit, size.age, tuple(size.given)), []).append(size)
    for (fit, age, columns), members in groups.items():
        table = tomlkit.table()
        table.add("age", age)
        table.add("fit", fit)
        table.add("columns", list(columns))
        rows = tomlkit.table()
        for size in members:
            rows.add(size.name, [round(size.given[column].value, 2) for column in columns])
        table.add("sizes", rows)
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
    read = read_chart(path, like, unit, fit)
    if read.problems:
        return None, read
    text = chart_text(read, name or found.label, like, path.name)
    problems = check_drafts(read, text, key)
    if problems:
        return None, dataclasses.replace(read, problems=problems)
    write_whole(target, text.encode())
    return target, read
