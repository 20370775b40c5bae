"""The styles, charts and rules on disk: built-in ones, and the shop's on top of them."""

from __future__ import annotations

import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import platformdirs

from calibration.refusal import Refusal
from chalkbeam.basics.suggestions import choices
from chalkbeam.basics.toml_files import (
    DataFolder,
    FolderState,
    folder_state,
    read_data,
    read_folder,
)
from chalkbeam.garments.model import AGES, Age, Fit, Measure
from chalkbeam.garments.schema import (
    MM_PER,
    Chart,
    GradingRule,
    RuleBook,
    ShopChart,
    SizeTable,
    Style,
)

DATA = Path(__file__).parent / "data"

_SPELLED = {
    "EXTRASMALL": "XS",
    "SMALL": "S",
    "MEDIUM": "M",
    "MED": "M",
    "LARGE": "L",
    "EXTRALARGE": "XL",
}


@dataclass(frozen=True)
class Size:
    """One row of a chart: the measures it gives, in mm, and its age group and fit."""

    name: str
    age: Age
    fit: Fit
    tolerance: float
    given: Mapping[str, Measure]


def charts_folder() -> Path:
    """Return the folder of the shop's charts (it need not exist yet)."""
    return platformdirs.user_data_path("chalkbeam", appauthor=False) / "charts"


@functools.cache
def builtin_styles() -> Mapping[str, Style]:
    """Return the built-in styles by name, in the order of their labels."""
    found = {path.stem: read_data(path, Style) for path in (DATA / "styles").glob("*.toml")}
    return dict(sorted(found.items(), key=lambda item: item[1].label))


@functools.cache
def _rule_book(name: str) -> RuleBook:
    return read_data(DATA / "rules" / f"{name}.toml", RuleBook)


def rules_of(style: Style) -> tuple[tuple[GradingRule, str], ...]:
    """Return the grading rules of a style with their units, in the order they are asked."""
    books = (_rule_book(name) for name in (*style.rules, style.cut))
    return tuple((rule, book.unit) for book in books for rule in book.rule)


@functools.cache
def builtin_chart(name: str) -> Chart:
    """Return one of the built-in charts."""
    return read_data(DATA / "charts" / f"{name}.toml", Chart)


def _read_shop_chart(path: Path) -> ShopChart:
    chart = read_data(path, ShopChart)
    if chart.like not in builtin_styles():
        raise Refusal(
            f"{path} is like “{chart.like}”, which is no style: "
            f"write one of {', '.join(builtin_styles())}."
        )
    return chart


@functools.lru_cache(maxsize=64)
def _read_charts(folder: Path, state: FolderState) -> DataFolder[ShopChart]:
    """Read the shop's folder; `state` makes a change be read again."""
    del state
    return read_folder(folder, _read_shop_chart)


def shop_charts(folder: Path | None = None) -> DataFolder[ShopChart]:
    """Return the shop's charts by the style each defines or changes (its file's name)."""
    folder = folder or charts_folder()
    return _read_charts(folder, folder_state(folder))


def fold(text: str) -> str:
    """Return a name as it is compared: lower case, letters and digits only."""
    return re.sub(r"[\W_]+", "", text.lower())


def find_style(
    name: str, folder: Path | None = None, broken: bool = False
) -> tuple[str, Style, ShopChart | None]:
    """Return a style's key, the style, and the shop's chart for it if there is one.

    Parameters
    ----------
    name : str
    folder : Path, optional
        The shop's charts.
    broken : bool
        Whether a style will do whose chart from the shop cannot be used.

    Raises
    ------
    Refusal
        If no style goes by that name, or the shop's chart for it cannot be used.
    """
    charts = shop_charts(folder)
    shops, wanted = charts.found, fold(name)
    for key, refusal in charts.broken.items():
        also = builtin_styles()[key].also if key in builtin_styles() else ()
        if not broken and wanted in {fold(key), *map(fold, also)}:
            raise refusal
    charts.remark()
    for key, chart in shops.items():
        if wanted in (fold(key), fold(chart.label), fold(chart.maker + chart.number)):
            return key, builtin_styles()[chart.like], chart
    numbered = [each for each in shops.items() if wanted == fold(each[1].number) != ""]
    if len(numbered) == 1:  # two makers may have the same number
        key, chart = numbered[0]
        return key, builtin_styles()[chart.like], chart
    for key, style in builtin_styles().items():
        if wanted in {fold(key), fold(style.label), *map(fold, style.also)}:
            return key, style, shops.get(key)
    keys = [*builtin_styles(), *shops]
    known = list(dict.fromkeys(style_words(key) for key in keys))
    others = [*keys, *(word for style in builtin_styles().values() for word in style.also)]
    raise Refusal(
        f"There is no style “{name}”: {choices(name, known, others)}, or import a chart for it."
    )


def style_words(key: str) -> str:
    """Return what people call a style in a sentence, by its key: "crew tee", "polo"."""
    charts = shop_charts().found
    if key in charts:
        return charts[key].label
    style = builtin_styles().get(key)
    label = key.replace("_", " ") if style is None else style.label
    return label if label[1:2] in ("-", "") else label[:1].lower() + label[1:]


def _rows(table: SizeTable, unit: str, tolerance: float, source: str) -> list[Size]:
    scale = MM_PER[unit]
    spread = (table.tolerance or tolerance) * scale
    basis = table.basis or source
    return [
        Size(
            name,
            table.age,
            table.fit,
            spread,
            {
                column: Measure(number * scale, spread, source=basis)
                for column, number in zip(table.columns, row, strict=True)
            },
        )
        for name, row in table.sizes.items()
    ]


def style_sizes(
    key: str, style: Style, shop: ShopChart | None = None
) -> dict[tuple[Fit, str], Size]:
    """Return every size of a style, the shop's rows in place of built-in ones.

    A style that only the shop has (`key` is not the style it is cut like) comes in the
    shop's sizes alone; built-in ones fill in what its rows leave out.
    """
    chart = builtin_chart(style.chart)
    sizes: dict[tuple[Fit, str], Size] = {}
    for table in chart.table:
        if table.age in style.ages and table.fit in style.fits:
            for size in _rows(table, chart.unit, chart.tolerance, chart.basis):
                sizes[size.fit, size.name] = size
    filling = sizes
    if shop and key != shop.like:
        sizes = {}
    for table in shop.table if shop else ():
        assert shop is not None
        for size in _rows(table, shop.unit, shop.tolerance, shop.basis):
            ours = filling.get((size.fit, size.name))
            filled = {
                name: Measure(
                    measure.value,
                    measure.tolerance,
                    f"from Chalkbeam's own chart “{chart.title}”: the shop's chart leaves it out",
                    measure.source,
                )
                for name, measure in (ours.given if ours else {}).items()
            }
            sizes[size.fit, size.name] = Size(
                size.name, size.age, size.fit, size.tolerance, {**filled, **size.given}
            )
    own = bool(shop and key != shop.like)

    def smallest_first(item: tuple[tuple[Fit, str], Size]) -> tuple[Fit, int, float]:
        size = item[1]
        chest = size.given.get("half_chest") if own else None  # ours stand in order
        return size.fit, AGES.index(size.age), chest.value if chest else 0.0

    return dict(sorted(sizes.items(), key=smallest_first))


def _size_key(text: str) -> str:
    key = fold(text).upper()
    if key.endswith("TALL") or re.fullmatch(r"(X*|\d{1,2}X)[SML]T", key):
        return _size_key(re.sub("T(ALL)?$", "", key)) + "T"
    for word, short in sorted(_SPELLED.items(), key=lambda item: -len(item[0])):
        if key.endswith(word):
            key = key.removesuffix(word) + short
            break
    key = key.removeprefix("ADULT")
    key = re.sub(r"^YOUTH", "Y", key)
    key = re.sub(r"^(X{2,})(?=[LS]$)", lambda run: f"{len(run[1])}X", key)
    key = re.sub(r"^1X(?=[LS]$)", "X", key)
    key = re.sub(r"^(\d{1,2})X$", r"\1XL", key)
    key = re.sub(r"(?<=\d)(MONTHS?|MOS?)$", "M", key)
    return re.sub(r"^(?:5T?6T?)$", "56T", key)


_WORDS: tuple[tuple[Age, str], ...] = (
    ("infant", r"NB|NEWBORN|PREEMIE|(?:\d{1,2}){1,2}M"),
    ("toddler", r"[2-6]T|[2-6]{2}T"),
    ("youth", r"Y(?:XXS|XS|S|M|L|XL|\d{1,2})|45|67|810|1012|1416|1820"),
    ("adult", r"(?:\d{1,2})?X?[SML]T?|\d{1,2}XLT?|X?[SML]X?[ML]|\d{0,2}XL\dXL|OS|OSFA|ONESIZE"),
)
"""How sizes are written, by age; figures for children from memory."""


def age_of_size(text: str) -> Age | None:
    """Return the age group that a size's name tells, such as LT, 3X, 5T, 0-3M or S/M."""
    key = _size_key(text)
    return next((age for age, words in _WORDS if re.fullmatch(words, key)), None)


def same_size(name: str, other: str) -> bool:
    """Whether two names are written for one size: 2XL and XXL."""
    return _size_key(name) == _size_key(other)


def plain_size(name: str) -> str:
    """Return the size that a tall one is the tall of; else the size itself."""
    key = _size_key(name)
    return key[:-1] if re.fullmatch(r"(X|\d{1,2}X)?[SML]T", key) else name


def is_size(text: str) -> bool:
    """Whether a text is a size of some built-in style or of a chart of the shop's."""
    wanted = _size_key(text)
    return bool(wanted) and wanted in _size_keys(folder_state(charts_folder()))


@functools.lru_cache(maxsize=4)
def _size_keys(state: FolderState) -> frozenset[str]:
    """Return every size there is as `find_size` compares it; `state` as in `_read_charts`."""
    del state
    shop = shop_charts().found
    known = {key: (style, shop.get(key)) for key, style in builtin_styles().items()}
    known |= {key: (find_style(key)[1], chart) for key, chart in shop.items()}
    return frozenset(
        _size_key(name)
        for key, (style, chart) in known.items()
        for _, name in style_sizes(key, style, chart)
    )


def find_size(name: str, fit: Fit, style_label: str, sizes: Mapping[tuple[Fit, str], Size]) -> Size:
    """Return a size by its name as people write it ("XXL", "youth M", "5/6").

    Raises
    ------
    Refusal
        If the style has no such size in that fit.
    """
    wanted = _size_key(name)
    for (its_fit, its_name), size in sizes.items():
        if its_fit == fit and _size_key(its_name) == wanted:
            return size
    if wanted in ("5T", "6T"):  # most charts have one size for both
        return find_size("5-6T", fit, style_label, sizes)
    known = [its_name for its_fit, its_name in sizes if its_fit == fit]
    if not known:
        fits = ", ".join(dict.fromkeys(its_fit for its_fit, _ in sizes))
        raise Refusal(f"{style_label} has no fit “{fit}”: it has {fits}.")
    raise Refusal(f"{style_label} has no size “{name}”: it has {', '.join(known)}.")
