"""The doors of orders: the list, a new one, its table, its artwork, its plan of work."""

from __future__ import annotations

import hashlib
import tempfile
import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from http import HTTPStatus
from pathlib import Path

from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response

from calibration.files import resolved
from calibration.refusal import Refusal
from chalkbeam.basics.units import format_length
from chalkbeam.orders.order_of_work import Plan, plan
from chalkbeam.orders.precheck import on_file
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.stretches import heated_lines
from chalkbeam.orders.stretches import stretches as stretches_of
from chalkbeam.orders.times import Times, format_duration
from chalkbeam.orders.under_head import by_where_they_lie
from chalkbeam.record.runs import Heading
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.orders import pictures, removing
from chalkbeam.web.orders.checking import Checked, check, faults_of, pick_lists, style_of
from chalkbeam.web.orders.folders import (
    About,
    OrderFolder,
    make_order,
    order_again,
    order_named,
    orders_in,
    sorted_files,
)
from chalkbeam.web.orders.standing import Standing, same_elsewhere, standings
from chalkbeam.web.orders.table import FIRST_ROW, OrderTable, TakenSheet, cells_of, take_over
from chalkbeam.web.pages import page
from chalkbeam.web.press.link import HowBegun, PressLink
from chalkbeam.web.setup import trial
from chalkbeam.web.shared_queue import queue_of_shop
from chalkbeam.web.shop_unit import shop_unit
from chalkbeam.web.words import t
from chalkbeam.web.worker import run_apart

LARGEST = 120 * 1024 * 1024
"""Bytes that are taken at once: a sheet and its artworks."""

LARGEST_TABLE = 2 * 1024 * 1024

ON_A_PAGE = 40
"""Rows of a table that are shown at once."""

BLANK = 3
"""Empty rows below the last one, to be typed into; a new order has more."""

SHOWN = 40
"""Orders that are listed; the rest is found by searching."""

A_WIDTH = 89.0
"""What is shown where a width is to be typed, mm: 3 1/2 in."""

LARGEST_SEARCHED = 2_000_000

_WRITING = threading.Lock()
"""One at a time changes an order: what was seen is compared with what is there."""


def doors() -> list[Door]:
    """Return the doors of orders."""
    change = Right.SET_UP, ("POST",)
    return [
        Door("/orders", _list, Right.SEE),
        Door("/orders", _make, *change, most=LARGEST),
        Door("/orders/new", _new, Right.SET_UP),
        Door("/orders/{name}", _show, Right.SEE),
        Door("/orders/{name}", _save, *change, most=LARGEST_TABLE),
        Door("/orders/{name}/files", _add_files, *change, most=LARGEST),
        Door("/orders/{name}/seen", _seen, *change),
        Door("/orders/{name}/again", _again, *change),
        Door("/orders/{name}/plan", _plan, Right.SEE),
        Door("/orders/{name}/report", _report, Right.SEE),
        Door("/orders/{name}/press", _press, Right.PRESS, ("POST",)),
        *pictures.doors(),
        *removing.doors(),
    ]


@dataclass(frozen=True)
class Listed:
    """An order in the list."""

    folder: OrderFolder
    about: About
    standing: Standing | None


def _list(visit: Visit) -> Response:
    wanted = visit.query.get("q", "").strip()[:100]
    words = wanted.casefold().split()
    every = orders_in(visit.shop.orders)
    found = [each for each in every if _says(each, words)]
    shown = found[:SHOWN]
    others = [*(each.sheet for each in every), trial.place(visit.shop.data)]
    with visit.app.queue.runs(visit.shop) as source:
        known = standings(source, [each.sheet for each in shown], others)
    rows = [
        Listed(each, each.about, known.of_sheet.get(str(resolved(each.sheet)))) for each in shown
    ]
    elsewhere = [
        each
        for each in known.elsewhere
        if all(word in f"{each.title} {each.sheet} {each.begun[:10]}".casefold() for word in words)
    ]
    return page(
        visit, "orders/list.html", wanted=wanted, more=len(found) - len(shown),
        open=[each for each in rows if not (each.standing and each.standing.finished)],
        finished=[each for each in rows if each.standing and each.standing.finished],
        elsewhere=elsewhere[:SHOWN], to_press=_open_in_queue(visit),
        can_start=_link(visit).can_start, gone=removing.removed(visit.shop.orders),
        away=visit.app.queue.away,
        removed=visit.query.get("removed", ""),
    )  # fmt: skip


def _says(folder: OrderFolder, words: Sequence[str]) -> bool:
    """Whether an order says every word: in its name, customer, day, or on its sheet."""
    about = folder.about
    said = f"{folder.name} {about.title} {about.customer} {about.made}".casefold()
    rest = [word for word in words if word not in said]
    if not rest:
        return True
    with folder.sheet.open("rb") as file:
        sheet = file.read(LARGEST_SEARCHED).decode("utf-8", "replace").casefold()
    return all(word in sheet for word in rest)


def _new(visit: Visit) -> Response:
    return page(visit, "orders/new.html")


def _make(visit: Visit) -> Response:
    files = _files(visit)
    sheets, artworks, others = sorted_files(list(files))
    _refuse_others(others)
    if len(sheets) > 1:
        raise Refusal(t("orders.two_sheets"))
    taken = (
        _taken_apart(sheets[0], files[sheets[0]]) if sheets else TakenSheet(OrderTable(), (), ())
    )
    title = visit.text("title") or (Path(sheets[0]).stem if sheets else "")
    if not title:
        raise Refusal(t("orders.no_title"))
    about = About(title=title, customer=visit.text("customer"), remarks=taken.remarks)
    made = make_order(visit.shop.orders, about, taken.table, shared=queue_of_shop() is not None)
    for name in artworks:
        made.add_artwork(name, files[name])
    return _go(made)


def _go(folder: OrderFolder, rest: str = "") -> Response:
    return RedirectResponse(f"/orders/{folder.name}{rest}", HTTPStatus.SEE_OTHER)


def _files(visit: Visit) -> dict[str, bytes]:
    """Return the files that a form brings, by name."""
    given = visit.form.getlist("files")
    return {
        each.filename: each.file.read()
        for each in given
        if isinstance(each, UploadFile) and each.filename
    }


def _refuse_others(names: Sequence[str]) -> None:
    if names:
        raise Refusal(t("orders.other_kind", names=", ".join(f"“{each}”" for each in names)))


def _taken_apart(name: str, content: bytes) -> TakenSheet:
    """Return a foreign sheet as a table, read in a process of its own."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"sheet{Path(name).suffix.lower()}"
        path.write_bytes(content)
        return run_apart(take_over, path, name, seconds=60)


def _folder(visit: Visit) -> OrderFolder:
    return order_named(visit.shop.orders, str(visit.path["name"]))


def _word(table: OrderTable) -> str:
    """Return a word that tells a table from what it becomes when anybody changes it."""
    return hashlib.sha256(table.csv()).hexdigest()[:16]


def _show(visit: Visit) -> Response:
    folder = _folder(visit)
    taken = folder.taken()
    lists = pick_lists(folder)
    checked = check(folder, taken, lists)
    overview = pictures.overview_kept(folder)
    if overview is not None and checked.order is not None:
        checked = Checked(faults_of(overview.problems, folder, taken, lists), checked.order)
    rows = len(taken.table.rows)
    start = _number(visit.query.get("from", ""), rows)
    end = min(start + ON_A_PAGE, rows)
    blank = 0 if end < rows or not visit.may(Right.SET_UP) else max(BLANK, 8 - rows)
    last = taken.numbers[-1] if taken.numbers else FIRST_ROW - 1
    numbers = (*taken.numbers, *range(last + 1, last + 1 + blank))
    return page(
        visit, "orders/order.html", folder=folder, about=folder.about, table=taken.table,
        fields=taken.table.fields(), start=start, end=end, total=rows, blank=blank,
        step=ON_A_PAGE, checked=checked, lists=lists, style_of=style_of, seen=_word(taken.table),
        numbers=numbers, overview=overview,
        pieces=len(checked.order.pieces) if checked.order else 0, standing=_standing(visit, folder),
        same=_same_elsewhere(visit, folder), away=visit.app.queue.away,
        can_start=_link(visit).can_start,
        running=_link(visit).running, gone=removing.removed(folder.path),
        removed=visit.query.get("removed", ""),
        width_hint=format_length(A_WIDTH, shop_unit()),
    )  # fmt: skip


def _number(text: str, rows: int) -> int:
    """Return the row that a page begins with."""
    asked = int(text) if text.isdecimal() and len(text) < 7 else 0
    return min(asked, max(0, rows - 1)) // ON_A_PAGE * ON_A_PAGE


def _link(visit: Visit) -> PressLink:
    link: PressLink = visit.app.press
    return link


def _press(visit: Visit) -> Response:
    """Begin the order at the press, or go on with it."""
    folder = _folder(visit)
    try:
        choice = HowBegun(visit.text("choice"))
    except ValueError:
        choice = HowBegun.USUAL
    if choice is HowBegun.USUAL and _same_elsewhere(visit, folder) is not None:
        raise Refusal(t("orders.same_first"))
    _link(visit).start(folder.sheet, choice, folder.name)
    return RedirectResponse("/press", HTTPStatus.SEE_OTHER)


def _report(visit: Visit) -> Response:
    """Lead to the report of the order's last run; to the order where it was never begun."""
    folder = _folder(visit)
    standing = _standing(visit, folder)
    if standing is None:
        return _go(folder, "#press")
    return RedirectResponse(f"/reports/{standing.run[:12]}", HTTPStatus.SEE_OTHER)


def _standing(visit: Visit, folder: OrderFolder) -> Standing | None:
    with visit.app.queue.runs(visit.shop) as source:
        known = standings(source, [folder.sheet])
    return known.of_sheet.get(str(resolved(folder.sheet)))


def _open_in_queue(visit: Visit) -> frozenset[str]:
    """Return the unfinished orders of the queue, by their runs' ids; none where there is none."""
    if queue_of_shop() is None:
        return frozenset()
    board = visit.app.queue.look()
    if isinstance(board, Refusal):
        return frozenset()
    return frozenset(each.run for each in board.orders if not each.finished)


def _same_elsewhere(visit: Visit, folder: OrderFolder) -> Heading | None:
    """Return an order of another press that may be this very one, not begun here yet."""
    shared = _open_in_queue(visit)
    if not shared:
        return None
    others = [each.sheet for each in orders_in(visit.shop.orders)]
    with visit.app.queue.runs(visit.shop) as source:
        return same_elsewhere(source, folder.sheet, others, shared)


def _save(visit: Visit) -> Response:
    folder = _folder(visit)
    with _WRITING:
        taken = folder.taken()
        table = taken.table
        if visit.text("seen") != _word(table):
            raise Refusal(t("orders.changed"))
        start = _number(visit.text("from"), len(table.rows))
        sent = {key: value for key, value in visit.form.items() if isinstance(value, str)}
        rows = [list(row) for row in cells_of(sent, start, len(table.titles))]
        _take_offer(visit.text("take"), start, rows)
        table = _taken_everywhere(visit.text("take_all"), table.with_rows(start, rows))
        titles = {
            index: visit.text(f"t-{index}")
            for index in range(len(table.titles))
            if visit.text(f"t-{index}")
        }
        table = table.with_titles(titles)
        if visit.text("add"):
            table = table.with_column(visit.text("column"))
        folder.save_table(table, taken.above)
    return _go(folder, f"?from={start}#table" if start else "#table")


def _take_offer(take: str, start: int, rows: list[list[str]]) -> None:
    """Put what was offered for a cell into it: "ROW-COLUMN-words"."""
    row, _, rest = take.partition("-")
    column, _, words = rest.partition("-")
    if row.isdecimal() and column.isdecimal():
        at = int(row) - start
        if 0 <= at < len(rows) and int(column) < len(rows[at]):
            rows[at][int(column)] = words


def _taken_everywhere(take: str, table: OrderTable) -> OrderTable:
    """Return the table with what was offered for a cell in every row that says the same there."""
    row, _, rest = take.partition("-")
    column, _, words = rest.partition("-")
    if not (row.isdecimal() and column.isdecimal()):
        return table
    at, where = int(row), int(column)
    if at >= len(table.rows) or where >= len(table.titles):
        return table
    said = table.rows[at][where]
    return replace(
        table,
        rows=tuple(
            (*each[:where], words, *each[where + 1 :]) if each[where] == said else each
            for each in table.rows
        ),
    )


def _add_files(visit: Visit) -> Response:
    folder = _folder(visit)
    files = _files(visit)
    if not files:
        raise Refusal(t("orders.no_file"))
    sheets, artworks, others = sorted_files(list(files))
    _refuse_others(others)
    if sheets:
        if len(sheets) > 1:
            raise Refusal(t("orders.two_sheets"))
        with _WRITING:
            if folder.taken().table.rows and not visit.text("replace"):
                raise Refusal(t("orders.sheet_there"))
            taken = _taken_apart(sheets[0], files[sheets[0]])
            folder.save_table(taken.table)
            folder.save_about(folder.about.model_copy(update={"remarks": taken.remarks}))
    for name in artworks:
        folder.add_artwork(name, files[name])
    return _go(folder)


def _seen(visit: Visit) -> Response:
    folder = _folder(visit)
    folder.save_about(folder.about.model_copy(update={"remarks": ()}))
    return _go(folder)


def _again(visit: Visit) -> Response:
    folder = _folder(visit)
    standing = _standing(visit, folder)
    title = visit.text("title") or t("orders.again_title", title=folder.about.title)
    made = order_again(
        visit.shop.orders, folder, title, standing.run if standing else "",
        shared=queue_of_shop() is not None,
    )  # fmt: skip
    return _go(made)


def _plan(visit: Visit) -> Response:
    folder = _folder(visit)
    taken = folder.taken()
    checked = check(folder, taken, pick_lists(folder))
    times = visit.query.get("times", "").strip()[:200]
    planned: Plan | None = None
    if checked.order is not None:
        planned = plan(
            checked.order.pieces, Times.parse(times), fit_on_press,
            covers=by_where_they_lie(on_file()),
        )  # fmt: skip
    return page(
        visit, "orders/plan.html", folder=folder, about=folder.about, planned=planned,
        stretches=stretches_of(planned) if planned else (), times=times, told=format_duration,
        heated=heated_lines(planned) if planned else (),
        assumed=vars(Times()), kinds=("platen", "pad", "load", "turn", "stack", "pile"),
    )  # fmt: skip
