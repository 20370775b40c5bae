"""`chalkbeam report`: a run summed up, on the terminal, as PDF and as CSV."""

from __future__ import annotations

from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.order import DegreesOption
from chalkbeam.cli.options.paper import Paper, PaperOption
from chalkbeam.cli.options.record import RecordOption, queue_address, record_path
from chalkbeam.orders.settings import Degrees

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from chalkbeam.presses.address import Address
    from chalkbeam.record.runs import Heading
    from chalkbeam.record.summary import RunSummary


def show_report(
    run: Annotated[
        str, typer.Argument(help="The run, by the beginning of its id; the latest without.")
    ] = "",
    record: RecordOption = None,
    pdf: Annotated[Path | None, typer.Option(help="Write the report as PDF.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Write every press as CSV.")] = None,
    paper: PaperOption = Paper.A4,
    measure: Annotated[
        float, typer.Option(help="Seconds that measuring a piece by hand takes in your shop.")
    ] = 60.0,
    list_runs: Annotated[bool, typer.Option("--list", help="List the runs instead.")] = False,
    degrees: DegreesOption = Degrees.AS_WRITTEN,
    json: JsonOption = False,
) -> None:
    """Sum a run up: sizes, settings, what was spoiled or is left, times; then the statistics."""
    if not 0 <= measure < 3600:
        raise Refusal(f"{measure:g} s is no time to measure a piece: write 0 to 3600.")
    address = queue_address(record)
    reading = _kept(record_path(record)) if address is None else _of_presses(address)
    with reading as kept:
        if list_runs:
            _list_runs(kept.headings(), json)
            return
        found = kept.of(run, measure)
    if pdf is not None:
        from calibration.files import write_whole
        from chalkbeam.paper.run_report_pdf import report_pdf

        write_whole(pdf, report_pdf(found, paper.value, degrees))
    if csv is not None:
        from calibration.files import write_whole
        from chalkbeam.paper.run_report_csv import report_csv

        write_whole(csv, report_csv(found))
    if json:
        _print_json(found)
    else:
        _print(found, degrees)


@dataclass(frozen=True)
class _Reading:
    """Where runs are read: their headings, and one of them summed up."""

    headings: Callable[[], list[Heading]]
    of: Callable[[str, float], RunSummary]


@contextmanager
def _kept(path: Path) -> Iterator[_Reading]:
    from chalkbeam.record.store import Store, is_record
    from chalkbeam.record.summary import summarise
    from chalkbeam.record.taste import with_taste

    if not is_record(path):
        raise Refusal(f"There is no record {path}: it begins with the first run.")

    def of(run: str, measure: float) -> RunSummary:
        chosen = store.run(run) if run else store.latest()
        if chosen is None:
            raise Refusal(f"The record {path} holds no run yet.")
        return with_taste(store, summarise(chosen, store.events(chosen), measure), Unit.INCH)

    with Store(path) as store:
        yield _Reading(store.runs, of)


@contextmanager
def _of_presses(address: Address) -> Iterator[_Reading]:
    from chalkbeam.presses import shared_runs
    from chalkbeam.presses.engine import Queue
    from chalkbeam.record.summary import summarise

    def of(run: str, measure: float) -> RunSummary:
        chosen = queue.transact(lambda c: shared_runs.named_run(c, run))
        events = queue.transact(lambda c: shared_runs.all_events(c, chosen.id))
        return summarise(chosen, events, measure)

    with Queue(address) as queue:
        yield _Reading(lambda: queue.transact(shared_runs.headings), of)


def _list_runs(headings: list[Heading], json: bool) -> None:
    from chalkbeam.record.resume import local_time

    if json:
        import json as json_module
        from dataclasses import asdict

        typer.echo(json_module.dumps([asdict(heading) for heading in headings]))
        return
    from rich.table import Table

    from chalkbeam.cli.terminal import terminal

    table = Table("run", "begun", "title", "sheet", box=None, pad_edge=False)
    for heading in headings:
        table.add_row(heading.id[:8], local_time(heading.begun), heading.title, heading.sheet)
    terminal().print(table)


def _numbers(found: RunSummary) -> dict[str, object]:
    return {
        "run": found.run.id,
        "title": found.run.title,
        "pieces": found.pieces,
        "finished": found.finished,
        "imprints": found.imprints,
        "pressed": found.pressed,
        "skipped": found.skipped,
        "open": found.open,
        "spoiled": found.spoiled,
        "replaced": found.replaced,
        "causes": dict(found.causes),
        "working_seconds": round(found.working, 1),
        "median_piece_seconds": None if found.typical is None else round(found.typical, 1),
        "timed_pieces": len(found.piece_seconds),
        "measure_seconds": found.measure,
        "measuring_saved_seconds": round(found.saved, 1),
        "steps": {
            each.step: {"count": each.count, "median_s": round(each.median, 1),
                        "total_s": round(each.total, 1)}
            for each in found.steps
        },
        "transfers": [
            {"transfer": each.words, "printed": each.printed, "used": each.used, "left": each.left}
            for each in found.transfers
        ],
        "findings": list(found.findings()),
        "taste": list(found.taste),
    }  # fmt: skip


def _account(found: RunSummary) -> dict[str, object]:
    from chalkbeam.record.resume import local_time

    account = found.account
    return {
        "customer": account.customer,
        "order_number": account.order_number,
        "begun": local_time(found.run.begun),
        "styles": [
            {
                "garment": each.garment,
                "colour": each.colour,
                "sizes": {
                    size.size: {"ordered": size.ordered, "finished": size.finished}
                    for size in each.sizes
                },
            }
            for each in account.styles
        ],
        "settings": [
            {
                "setting": "" if each.setting is None else each.setting.words(),
                "transfer": each.transfer,
                "imprints": each.imprints,
                "set": each.set,
            }
            for each in account.settings
        ],
        "spoiled_pieces": [
            {
                "piece": each.piece.id,
                "when": local_time(each.wall),
                "reason": each.reason,
                "replaced": each.replaced,
                "missing": each.missing,
            }
            for each in account.spoiled
        ],
        "to_press": [stop.imprint.id for stop in account.to_press],
    }


def _print_json(found: RunSummary) -> None:
    import json

    numbers = _numbers(found)
    numbers |= _account(found)
    numbers["corrections"] = {
        each.axis: {
            "change_mm": round(each.change, 3),
            "typical_mm": round(each.typical, 3),
            "p_growing": each.growing,
            "p_one_sided": each.one_sided,
        }
        for each in found.trends
    }
    typer.echo(json.dumps(numbers, ensure_ascii=False))


def _print(found: RunSummary, degrees: Degrees) -> None:
    from chalkbeam.cli.terminal import terminal
    from chalkbeam.orders.times import format_duration
    from chalkbeam.paper import run_report_words as words
    from chalkbeam.record.resume import local_time
    from chalkbeam.record.step_times import STEP_WORDS

    console, account = terminal(), found.account
    whose = f" · {account.heading}" if account.heading else ""
    console.print(f"{found.run.title}{whose}  (run {found.run.id[:8]})")
    console.print(", ".join(filter(None, (words.when_words(found), words.who_words(found)))))
    _table(
        "",
        ("pieces finished", f"{found.finished} of {found.pieces}"),
        ("imprints pressed", f"{found.pressed} of {found.imprints}"),
        ("imprints skipped", str(found.skipped)),
        ("garments spoiled", f"{found.spoiled}, {found.replaced} replaced"),
        ("time at the press", format_duration(found.working)),
    )
    _table(
        "By style and size",
        *((words.garment_words(each), ", ".join(words.sizes_words(each)))
          for each in account.styles),
    )  # fmt: skip
    _table(
        "Pressed with",
        *((words.setting_words(each, degrees), words.count_words(each))
          for each in account.settings if each.setting or each.transfer),
    )  # fmt: skip
    _table(
        "Spoiled",
        *((words.piece_words(each.piece), words.spoiled_words(each), local_time(each.wall))
          for each in account.spoiled),
    )  # fmt: skip
    _table("Still to press", *words.to_press_lines(account))
    _table(
        "Transfers left",
        *((each.words, f"{each.left} of {each.printed}") for each in found.transfers),
    )
    _table(
        "What the steps took, as measured",
        *((STEP_WORDS[each.step], f"{format_duration(each.median)} each, as a rule",
           f"{format_duration(each.total)} for all {each.count}") for each in found.steps),
    )  # fmt: skip
    if found.typical is not None:
        _table(
            "Statistics",
            ("a piece, median", format_duration(found.typical)),
            ("… measured by hand", f"up to {format_duration(found.typical + found.measure)}"),
            ("saved on this run", f"up to {format_duration(found.saved)}, by estimate"),
            *((f"spoiled: {cause}", str(count)) for cause, count in found.causes),
        )
    for sentence in (*found.taste, *found.findings()):
        console.print(f"\n{sentence}")
    if any(sentence.endswith("?") for sentence in found.taste):
        console.print("chalkbeam location habits lists what is offered; location keep keeps it.")
    if not found.findings():
        judged = found.trends[0].judged
        console.print(
            "\nThe corrections give no sign that the rig or the loading is off."
            if judged
            else "\nToo few presses to say whether the rig or the loading is off."
        )


def _table(title: str, *rows: tuple[str, ...]) -> None:
    """Print rows under a title; nothing where there are none."""
    from rich.table import Table

    from chalkbeam.cli.terminal import terminal

    if not rows:
        return
    terminal().print(f"\n{title}" if title else "")
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    for row in rows:
        table.add_row(*row)
    terminal().print(table)


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("report")(show_report)
