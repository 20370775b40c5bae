"""What a press's journal says, as the acts that go up to the queue."""

from __future__ import annotations

from collections.abc import Iterator

from chalkbeam.presses.acts import PressAct
from chalkbeam.record.journal import Journal
from chalkbeam.record.journal_lines import JournalLine
from chalkbeam.record.runs import BEGUN, LOST


def act_of(line: JournalLine) -> PressAct:
    """Return the act that a line says; an order of work stays where it is."""
    body = {name: value for name, value in line.body.items() if name != "work"}
    kind = str(body.get("kind", LOST))
    own = str(body["id"]) if kind not in (BEGUN, LOST) else f"{line.press} {line.number}"
    data = body.get("data") or {}
    return PressAct(line.number, own, line.run, kind, str(body.get("imprint", "")), data, body)


def acts_after(journal: Journal, number: int, most: int) -> tuple[PressAct, ...]:
    """Return the next acts of a journal; one that is damaged there is told as lost."""
    found: list[PressAct] = []
    for act in _without_gaps(journal, number):
        found.append(act)
        if len(found) == most:
            break
    return tuple(found)


def _without_gaps(journal: Journal, number: int) -> Iterator[PressAct]:
    for line in journal.lines_after(number):
        for lost in range(number + 1, line.number):
            yield PressAct(lost, f"{line.press} {lost}", line.run, LOST, "", {}, {"kind": LOST})
        number = line.number
        yield act_of(line)
