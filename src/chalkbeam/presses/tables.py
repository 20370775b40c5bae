"""The queue's tables. The unique keys here are what forbids that a piece is pressed twice."""

from __future__ import annotations

from typing import Any

import sqlalchemy as sa

tables = sa.MetaData()


def _text(name: str, *, key: bool = False, may_lack: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, primary_key=key, nullable=may_lack)


def _whole(name: str, *, key: bool = False, may_lack: bool = False) -> sa.Column[int]:
    return sa.Column(
        name, sa.BigInteger, primary_key=key, nullable=may_lack, autoincrement=False
    )  # fmt: skip


presses = sa.Table(
    "presses", tables,
    _text("id", key=True), _text("name"), _text("machine"),
    _whole("last"),
    _text("at_hand", may_lack=True),
    _text("doing"), _text("told"),
    sa.UniqueConstraint("name"),
)  # fmt: skip
"""Who presses. `last` is the number of the press's last act that is taken in; `at_hand` is a JSON
list of its platens and pads, none where it takes any; `doing` and `told` are for people."""

runs = sa.Table(
    "runs", tables,
    _text("id", key=True), _whole("place"), _text("key"), _text("title"), _text("sheet"),
    _text("digest"), _text("earlier", may_lack=True), _text("begun"), _text("work"),
    _whole("imprints"), _whole("changed"), _text("started"), _text("replaced_by", may_lack=True),
    sa.UniqueConstraint("place"), sa.UniqueConstraint("key"),
)  # fmt: skip
"""Orders as planned. `key` is the sheet's digest and how often it was begun: two machines that
begin one sheet at once begin one order. `imprints` is how many it has; `changed`
grows with what a person decides that is no act of a press. `started` is a JSON list of what it
began with, `replaced_by` the order that took its place."""

claims = sa.Table(
    "claims", tables,
    _text("id", key=True), _text("run"), _text("press"), _whole("lot"),
    _text("from_press", may_lack=True), _text("wall"),
)  # fmt: skip
"""What a press has claimed; `from_press` is the press that it was taken over from."""

lots = sa.Table(
    "lots", tables,
    _text("run", key=True), _whole("lot", key=True), _text("pile"), _text("setting"),
    _whole("pieces"), _text("claim", may_lack=True),
)  # fmt: skip
"""Pieces of one pile that want the same of a press: what is claimed at once."""

needs = sa.Table(
    "needs", tables,
    _text("run", key=True), _whole("lot", key=True), _text("what", key=True),
)  # fmt: skip
"""Platens and pads that a lot wants by name: “platen 16x20in”, “pad small”."""

pieces = sa.Table(
    "pieces", tables,
    _text("run", key=True), _text("piece", key=True), _whole("lot"), _whole("place"),
    _text("imprints"),
)  # fmt: skip

holds = sa.Table(
    "holds", tables,
    _text("run", key=True), _text("piece", key=True), _text("press"), _text("claim"),
    _whole("base"), _whole("garment"),
)  # fmt: skip
"""Which press has a piece: one, by the key. `garment` counts the fresh garments that took its
place, `base` what it was when the press got the piece."""

acts = sa.Table(
    "acts", tables,
    _text("press", key=True), _whole("number", key=True), _text("id"), _text("run"),
    _text("kind"), _text("imprint"), _text("piece"), _text("body"),
    sa.UniqueConstraint("id"),
)  # fmt: skip
"""What happened, each press's own count. Nothing orders the acts of two presses but who held the
piece."""
sa.Index("acts_of_run", acts.c.run, acts.c.press, acts.c.number)
sa.Index("acts_of_piece", acts.c.run, acts.c.piece, acts.c.press, acts.c.number)

outcomes = sa.Table(
    "outcomes", tables,
    _text("run", key=True), _text("imprint", key=True), _whole("garment", key=True),
    _text("piece"), _text("outcome"), _text("press"), _text("act"),
)  # fmt: skip
"""How imprints ended: once a garment, by the key."""


def counted(query: sa.Select[Any]) -> sa.Select[Any]:
    """Return a query of `outcomes` of those that count alone: on the garment that a piece is now.

    What was done in an earlier order is on a piece that nobody need have; `holds` is joined.
    """
    here = (holds.c.run == outcomes.c.run) & (holds.c.piece == outcomes.c.piece)
    garment = sa.func.coalesce(holds.c.garment, 0)
    return query.join(holds, here, isouter=True).where(outcomes.c.garment == garment)


conflicts = sa.Table(
    "conflicts", tables,
    _whole("number", key=True), _text("run"), _text("piece"), _text("imprint"),
    _text("press"), _text("act"), _text("said"), _text("settled", may_lack=True),
    sa.UniqueConstraint("act"),
)  # fmt: skip
"""What two presses say against each other, until a person has settled it."""

contents = sa.Table(
    "contents",
    tables,
    _text("digest", key=True),
    sa.Column("bytes", sa.LargeBinary, nullable=False),
)
"""Files by the SHA-256 of what they hold: each once, however many names it has."""

shared_files = sa.Table(
    "shared_files", tables,
    _text("name", key=True), _whole("version", key=True), _text("digest"), _text("press"),
    _text("wall"),
)  # fmt: skip
"""The shop's rigs, locations, charts and lists, every version; `name` is the path in the user's
data folder, with slashes."""

artworks = sa.Table(
    "artworks", tables, _text("run", key=True), _text("path", key=True), _text("digest")
)
"""The artwork of an order: what its files hold, by the paths that its order of work has."""
