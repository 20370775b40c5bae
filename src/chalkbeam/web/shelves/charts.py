"""A supplier's size chart as it was understood, before it is kept."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit, format_length
from chalkbeam.garments import Fit
from chalkbeam.garments.charts import import_chart
from chalkbeam.garments.charts.reading import ChartProblem, ReadChart, read_chart
from chalkbeam.garments.charts.storing import chart_text, check_drafts, style_key


@dataclass(frozen=True)
class ChartAsked:
    """A chart as it was sent, and what is to become of it.

    Attributes
    ----------
    file : str
        Its name.
    content : bytes
    style : str
        The built-in style that the garments are cut like.
    name : str
        Of a new style of the shop's; empty where it changes `style` itself.
    unit : str
        "in", "mm" or "cm" of bare numbers; empty where cells and headers say it.
    fit : Fit
    maker, number : str
        Who makes it, and the maker's style number, by which it is found again.
    """

    file: str
    content: bytes
    style: str
    name: str
    unit: str
    fit: Fit
    maker: str = ""
    number: str = ""


@dataclass(frozen=True)
class ChartUnderstood:
    """What a chart says.

    Attributes
    ----------
    measures : tuple of str
        Columns that are understood.
    rows : tuple of (str, str, str, tuple of str)
        Size, age, fit, and the length for each of `measures`, in words; empty where it gives none.
    unused : tuple of str
        Columns that are not.
    problems : tuple of ChartProblem
    notes : tuple of str
        How lengths were understood that suppliers take otherwise.
    """

    measures: tuple[str, ...]
    rows: tuple[tuple[str, str, str, tuple[str, ...]], ...]
    unused: tuple[str, ...]
    problems: tuple[ChartProblem, ...]
    notes: tuple[str, ...] = ()


def understand(path: Path, asked: ChartAsked) -> ChartUnderstood:
    """Read a chart without keeping it; for a process of its own."""
    read = read_chart(path, asked.style, asked.unit or None, asked.fit)
    problems = read.problems
    if not problems:
        key = style_key(asked.name) if asked.name else asked.style
        text = chart_text(
            read, asked.name or asked.style, asked.style, asked.file, asked.maker, asked.number
        )
        problems = check_drafts(read, text, key)
    measures = tuple(dict.fromkeys(name for size in read.sizes for name in size.given))
    return ChartUnderstood(measures, _rows(read, measures), read.unused, problems, read.notes)


def _rows(
    read: ReadChart, measures: tuple[str, ...]
) -> tuple[tuple[str, str, str, tuple[str, ...]], ...]:
    def words(length: float) -> str:
        return f"{format_length(length, Unit.MM)} ({format_length(length, Unit.INCH)})"

    return tuple(
        (
            size.name,
            size.age,
            size.fit,
            tuple(words(size.given[each].value) if each in size.given else "" for each in measures),
        )
        for size in read.sizes
    )


def keep_chart(path: Path, asked: ChartAsked, replace: bool) -> str:
    """Keep a chart in the shop's folder; return the style's name. For a process of its own.

    Raises
    ------
    Refusal
        If it has faults after all, or is there already and may not be replaced.
    """
    stored, read = import_chart(
        path, asked.style, name=asked.name or None, unit=asked.unit or None, fit=asked.fit,
        replace=replace, maker=asked.maker, number=asked.number,
    )  # fmt: skip
    if stored is None:
        raise Refusal(read.problems[0].sentence)
    return stored.stem
