"""Where a piece in hand stood when its press was last heard of."""

from __future__ import annotations

import json

import sqlalchemy as sa

from chalkbeam.presses.tables import acts, holds
from chalkbeam.record.events import Kind, Step

COOLING = "pressed, and put aside to cool"
"""What is told of a piece that waits for its peel while its press goes on with others."""
_WORDS = {
    Step.LAY.value: "laid on the platen", Step.PREPRESS.value: "in its pre-press",
    Step.PRESS.value: "under the press", Kind.ASIDE.value: COOLING,
    Step.PEEL.value: "pressed, and not peeled", Step.SECOND.value: "in its second press",
}  # fmt: skip
"""What a piece was at when its press was last heard of, by the act's step or kind."""


def last_words(connection: sa.Connection, run: str) -> dict[tuple[str, str], str]:
    """Return where the pieces in hand stood when their press was last heard of.

    By press and piece; those of which nothing is to be told are left out.
    """
    last = (
        sa.select(acts.c.press, acts.c.piece, sa.func.max(acts.c.number).label("number"))
        .where(acts.c.run == run, acts.c.piece != "")
        .group_by(acts.c.press, acts.c.piece)
        .subquery()
    )
    here = (holds.c.run == run) & (holds.c.piece == last.c.piece) & (holds.c.press == last.c.press)
    query = (
        sa.select(acts.c.press, acts.c.piece, acts.c.kind, acts.c.body)
        .join(last, (last.c.press == acts.c.press) & (last.c.number == acts.c.number))
        .join(holds, here)
    )
    found = {}
    for press, piece, kind, body in connection.execute(query):
        step = json.loads(body).get("step") if kind == Kind.STEPPED.value else None
        words = _WORDS.get(str(step or kind))
        if words is not None:
            found[press, piece] = words
    return found
