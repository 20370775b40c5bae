"""Pages from templates, each with the texts, the device and its token at hand."""

from __future__ import annotations

import functools
import hashlib
import json
from http import HTTPStatus
from importlib import resources
from typing import Any

import jinja2
import segno
from markupsafe import Markup
from starlette.responses import HTMLResponse, JSONResponse, Response

from chalkbeam.web.doors import Right, Visit
from chalkbeam.web.words import part, say, t, texts


def page(visit: Visit, template: str, status: int = HTTPStatus.OK, **values: Any) -> HTMLResponse:
    """Return a page.

    Parameters
    ----------
    visit : Visit
    template : str
        Its file in `templates/`.
    status : int
    **values
        What the template names, besides `t`, `visit`, `may`, `token`, `static` and the filter
        `say`.
    """
    return HTMLResponse(part_of_page(visit, template, **values), status)


def part_of_page(visit: Visit, template: str, **values: Any) -> Markup:
    """Return what a template says; parameters as of `page`."""
    known = {"visit": visit, "token": visit.token, "may": lambda name: visit.may(Right(name))}
    return Markup(_templates().get_template(template).render(known | values))


def failed(visit: Visit, status: HTTPStatus, sentence: str = "") -> Response:
    """Return the answer to a visit that got nowhere: a page, or for a script a sentence in JSON.

    One without a paired device gets the page that pairs one.
    """
    key = f"failed.{status.value}"
    said = say(sentence) if sentence else t(key if key in texts() else "failed.other")
    if "text/html" not in visit.request.headers.get("accept", ""):
        return JSONResponse({"said": said}, status)
    if status is HTTPStatus.UNAUTHORIZED:
        return page(visit, "pair.html", status)
    return page(visit, "failed.html", status, said=said)


@functools.cache
def _templates() -> jinja2.Environment:
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("chalkbeam.web"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(t=t, static=static_address, texts_of=texts_of)
    made.filters["say"] = say
    return made


def texts_of(*tables: str) -> Markup:
    """Return the texts of some tables as JSON, to be put into a page for its script."""
    return json_of({key: text for table in tables for key, text in part(table).items()})


def json_of(value: object) -> Markup:
    """Return a value as JSON that may stand in a page, inside a script of that type."""
    return Markup(json.dumps(value, ensure_ascii=False).replace("<", "\\u003c"))


def drawn_code(address: str) -> Markup:
    """Return an address as a QR code, drawn as SVG."""
    made = segno.make(address, error="m", micro=False)
    return Markup(made.svg_inline(scale=6, border=4, dark="#000", light="#fff", omitsize=True))


def static_address(name: str) -> str:
    """Return the address of a file in `static/`; it changes with the file's content."""
    return f"/static/{name}?{_digest(name)}"


@functools.cache
def _digest(name: str) -> str:
    return hashlib.sha256(
        (resources.files(__package__) / "static" / name).read_bytes()
    ).hexdigest()[:8]
