"""Transfers on the page: the shop's products, as its suppliers' sheets give them."""

from __future__ import annotations

from http import HTTPStatus

from starlette.responses import RedirectResponse, Response

from chalkbeam.basics.units import Unit, format_length
from chalkbeam.orders.transfers import (
    CARRIERS,
    TransferProduct,
    keep_transfer,
    take_off,
    transfers,
    transfers_file,
)
from chalkbeam.web.doors import Door, Right, Visit
from chalkbeam.web.pages import page

SAID = (
    "supplier", "temperature", "time", "pressure", "peel", "cooling", "prepress", "second_press",
)  # fmt: skip
"""What is entered word for word."""


def doors() -> list[Door]:
    """Return the doors of transfers."""
    return [
        Door("/transfers", _list, Right.SEE),
        Door("/transfers", _keep, Right.SET_UP, ("POST",)),
        Door("/transfers/away", _away, Right.SET_UP, ("POST",)),
    ]


def _list(visit: Visit) -> Response:
    shelf = transfers()
    name = visit.query.get("name", "")
    chosen = shelf.get(name)
    return page(
        visit, "shelves/transfers.html", shelf=shelf, name=name if chosen else "", chosen=chosen,
        said=SAID, carriers=CARRIERS, file=transfers_file(), margin_of=_margin,
    )  # fmt: skip


def _margin(product: TransferProduct) -> str:
    return "" if product.margin is None else format_length(product.margin, Unit.INCH)


def _keep(visit: Visit) -> Response:
    fields = {field: visit.text(field) for field in (*SAID, "carrier", "margin")}
    keep_transfer(visit.text("name", 60), fields, visit.text("was", 60))
    return RedirectResponse("/transfers", HTTPStatus.SEE_OTHER)


def _away(visit: Visit) -> Response:
    take_off(visit.text("name", 60))
    return RedirectResponse("/transfers", HTTPStatus.SEE_OTHER)
