"""`chalkbeam report`: a run summed up, on the terminal, as PDF and as CSV."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calibration.refusal import Refusal
from chalkbeam.cli.options.as_json import JsonOption
from chalkbeam.cli.options.paper import Paper, PaperOption

if TYPE_CHECKING:
    from chalkbeam.record.store import Store
    from chalkbeam.record.summary import RunSummary


def show_report(
    run: Annotated[
        str, typer.Argument(help="The run, by the beginning of its id; the latest without.")
    ] = "",
    record: Annotated[Path | None, typer.Option(help="The record; the shop's own without.")] = None,
    pdf: Annotated[Path | None, typer.Option(help="Write the report as PDF.")] = None,
    csv: Annotated[Path | None, typer.Option(help="Write every press as CSV.")] = None,
    paper: PaperOption = Paper.A4,
    measure: Annotated[
        float, typer.Option(help="Seconds that measuring a piece by hand takes in your shop.")
    ] = 60.0,
    list_runs: Annotated[bool, typer.Option("--list", help="List the runs instead.")] = False,
    json: JsonOption = False,
) -> None:
    """Sum a run up: counts, spoilage, time a piece, and what the corrections say."""
    from chalkbeam.record.store import Store, is_record, record_file
    from chalkbeam.record.summary import summarise

    path = record or record_file()
    if not is_record(path):
        raise Refusal(f"There is no record {path}: it begins with the first run.")
    if not 0 <= measure < 3600:
        raise Refusal(f"{measure:g} s is no time to measure a piece: write 0 to 3600.")
    with Store(path) as store:
        if list_runs:
            _list_runs(store, json)
            return
        chosen = store.run(run) if run else store.latest()
        if chosen is None:
            raise Refusal(f"The record {path} holds no run yet.")
        found = summarise(chosen, store.events(chosen), measure)
    if pdf is not None:
        from calibration.files import write_whole
        from chalkbeam.paper.run_report_pdf import report_pdf

        write_whole(pdf, report_pdf(found, paper.value))
    if csv is not None:
        from calibration.files import write_whole
        from chalkbeam.paper.run_report_csv import report_csv

        write_whole(csv, report_csv(found))
    if json:
        _print_json(found)
    else:
        _print(found)


def _list_runs(store: Store, json: bool) -> None:
    headings = store.runs()
    if json:
        import json as json_module
        from dataclasses import asdict

        typer.echo(json_module.dumps([asdict(heading) for heading in headings]))
        return
    from rich.table import Table

    from chalkbeam.cli.terminal import terminal

    table = Table("run", "begun (UTC)", "title", "sheet", box=None, pad_edge=False)
    for heading in headings:
        begun = heading.begun[:16].replace("T", " ")
        table.add_row(heading.id[:8], begun, heading.title, heading.sheet)
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
    }  # fmt: skip


def _print_json(found: RunSummary) -> None:
    import json

    numbers = _numbers(found)
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


def _print(found: RunSummary) -> None:
    from rich.table import Table

    from chalkbeam.cli.terminal import terminal
    from chalkbeam.orders.times import format_duration
    from chalkbeam.record.step_times import STEP_WORDS

    console = terminal()
    console.print(f"{found.run.title}  (run {found.run.id[:8]})\n")
    table = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    rows = [
        ("pieces finished", f"{found.finished} of {found.pieces}"),
        ("imprints pressed", f"{found.pressed} of {found.imprints}"),
        ("imprints skipped", str(found.skipped)),
        ("garments spoiled", f"{found.spoiled}, {found.replaced} replaced"),
        *((f"  {cause}", str(count)) for cause, count in found.causes),
        ("time at the press", format_duration(found.working)),
    ]
    if found.typical is not None:
        rows += [
            ("a piece, median", format_duration(found.typical)),
            ("… measured by hand", f"up to {format_duration(found.typical + found.measure)}"),
            ("saved on this run", f"up to {format_duration(found.saved)}, by estimate"),
        ]
    rows += [
        (f"  {STEP_WORDS[each.step]}, median of {each.count}", format_duration(each.median))
        for each in found.steps
    ]
    rows += [
        (f"  {each.words}", f"{each.left} of {each.printed} transfers left")
        for each in found.transfers
    ]
    for row in rows:
        table.add_row(*row)
    console.print(table)
    for sentence in found.findings():
        console.print(f"\n{sentence}")
    if not found.findings():
        judged = found.trends[0].judged
        console.print(
            "\nThe corrections give no sign that the rig or the loading is off."
            if judged
            else "\nToo few presses to say whether the rig or the loading is off."
        )


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("report")(show_report)
