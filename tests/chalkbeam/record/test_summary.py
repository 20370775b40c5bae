"""What a run came to: figures, trends, CSV and PDF."""

import csv
import io
import itertools
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from typer.testing import CliRunner

from calibration.refusal import Refusal
from chalkbeam.cli.app import app
from chalkbeam.orders.order_of_work import plan
from chalkbeam.paper.run_report_csv import HEADER, report_csv, safe
from chalkbeam.paper.run_report_pdf import report_pdf
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Kind, Step
from chalkbeam.record.resume import local_time
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store, record_file
from chalkbeam.record.summary import summarise
from chalkbeam.record.trends import FEWEST, trend
from tests.support.random_orders import random_order


class Clock:
    """A clock that tests turn by hand."""

    def __init__(self):
        self.now = 1000.0
        self.wall = itertools.count()

    def session(self, store, run, **who):
        who = {"operator": "Marit", "rig": "press 1", "calibration": "c7"} | who
        return open_session(
            store,
            run,
            clock=lambda: self.now,
            wall=lambda: f"2026-11-25T10:00:{next(self.wall) % 60:02d}+00:00",
            **who,
        )


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "record.db") as opened:
        yield opened


def begin(store, pieces=None, **options):
    pieces = pieces or random_order(5, 6, most=1, lettering=0)
    options = {"title": "Regatta", "sheet": Path("order.csv"), "digest": "0"} | options
    return store.begin(plan(pieces, as_listed=True), **options)


def test_a_run_in_numbers(store):
    run, clock = begin(store), Clock()
    session = clock.session(store, run)
    for seconds in (40.0, 50.0):
        clock.now += seconds
        session.press()
    clock.now += 10.0
    session.skip("sheet missing")
    clock.now += 30.0
    session.spoil("scorched", replaced=True)
    clock.now += 60.0
    session.press()
    clock.now += 20.0
    session.spoil("sheet slipped", replaced=False)
    found = summarise(run, store.events(run), measure=45.0)
    assert (found.pieces, found.imprints, found.pressed, found.skipped) == (6, 6, 3, 1)
    assert (found.finished, found.open) == (3, 1)
    assert (found.spoiled, found.replaced) == (2, 1)
    assert dict(found.causes) == {"scorched": 1, "sheet slipped": 1}
    # The piece that was spoiled and replaced took both attempts.
    assert found.piece_seconds == (40.0, 50.0, 90.0)
    assert found.typical == 50.0
    assert found.working == 210.0
    assert found.saved == 3 * 45.0


def test_pauses_and_time_away_are_not_counted(store):
    run, clock = begin(store), Clock()
    session = clock.session(store, run)
    clock.now += 20.0
    session.pause()
    clock.now += 600.0
    session.pause()
    clock.now += 15.0
    session.press()
    clock.now = 3.0  # the computer was restarted: its clock begins again
    session = clock.session(store, run)
    clock.now += 33.0
    session.press()
    assert summarise(run, store.events(run)).piece_seconds == (35.0, 33.0)


def test_a_date_set_back_changes_nothing(store):
    run, clock = begin(store), Clock()
    clock.wall = iter(range(59, -1, -1))
    session = clock.session(store, run)
    for _ in range(3):
        clock.now += 30.0
        session.press()
    found = summarise(run, store.events(run))
    assert found.piece_seconds == (30.0, 30.0, 30.0)
    assert [each.event.imprint for each in found.outcomes] == [s.imprint.id for s in run.stops[:3]]
    document = pypdfium2.PdfDocument(report_pdf(found))
    text = document[0].get_textpage().get_text_range()
    document.close()
    begun = local_time(run.begun)
    assert f"{begun} ·" in text  # from a date to an earlier one: not


def test_no_duration_is_negative_whatever_a_clock_does(store):
    run, clock = begin(store), Clock()
    session = clock.session(store, run)
    for change in (30.0, -50.0, 20.0):
        clock.now += change
        session.pause()
        clock.now -= 5.0
        session.pause()
        session.press()
    found = summarise(run, store.events(run))
    assert all(each.seconds is not None and each.seconds >= 0 for each in found.outcomes)
    assert found.working >= 0
    assert [each.event.imprint for each in found.outcomes] == [s.imprint.id for s in run.stops[:3]]


def test_what_was_taken_back_is_not_counted(store):
    run, clock = begin(store), Clock()
    session = clock.session(store, run)
    session.press()
    session.undo()
    session.spoil("scorched", replaced=True)
    session.undo()
    session.press()
    found = summarise(run, store.events(run))
    assert (found.pressed, found.spoiled, len(found.outcomes)) == (1, 0, 1)


def test_corrections_are_told_from_what_was_carried_over(store):
    pieces = [
        replace(p, style="tee", imprints=(replace(p.imprints[0], location="nape", pad=""),))
        for p in random_order(5, 4, artworks=1, most=1, lettering=0)
    ]
    run, clock = begin(store, pieces), Clock()
    session = clock.session(store, run)
    session.nudge(Shift(1.0), rest_of_batch=True)
    session.press()
    session.nudge(Shift(0.5))
    session.press()
    session.press()
    outcomes = summarise(run, store.events(run)).outcomes
    assert [each.added.x for each in outcomes] == [1.0, 0.5, 0.0]
    assert [each.nudge.x for each in outcomes] == [1.0, 1.5, 1.0]


# -- trends --------------------------------------------------------------------------------


def found_share(rng, make, runs):
    return np.mean([trend("x", *make(rng)).sentence() is not None for _ in range(runs)])


def test_a_run_with_nothing_wrong_is_rarely_called_off():
    # The tests promise 1 % over both axes, 0.5 % an axis; 5 of 400 leaves room for chance.
    def single(rng):
        added = np.where(rng.random(60) < 0.6, rng.normal(0, 0.8, 60), 0.0)
        return added, added

    def carried(rng):  # nudges kept for the batch: the total wanders, and means nothing
        added = np.where(rng.random(60) < 0.6, rng.normal(0, 0.8, 60), 0.0)
        return added, np.cumsum(added)

    rng = np.random.default_rng(12)
    assert found_share(rng, single, 400) <= 5 / 400
    assert found_share(rng, carried, 400) <= 5 / 400


def test_a_drift_of_two_millimetres_is_found_and_named():
    def drifting(rng):
        added = rng.normal(0, 0.5, 100) + np.linspace(0, 2, 100)
        return added, added

    assert found_share(np.random.default_rng(3), drifting, 40) == 1.0
    said = trend("x", *drifting(np.random.default_rng(1)))
    assert said.drifts
    assert "grow to the right" in said.sentence()
    assert said.slope * 99 == pytest.approx(2.0, abs=0.5)
    away = trend("y", *(-values for values in drifting(np.random.default_rng(1))))
    assert "towards the operator" in away.sentence()


def test_a_steady_lean_is_found_where_it_is_carried_over_too():
    rng = np.random.default_rng(6)
    added = rng.normal(0.8, 0.4, 40)
    lean = trend("x", added, added)
    assert not lean.drifts
    assert lean.leans
    assert "mostly go to the right" in lean.sentence()
    small = np.where(np.arange(60) % 3 == 0, 0.2, 0.0)
    assert trend("x", small, np.cumsum(small)).leans


def test_small_corrections_and_short_runs_are_let_be():
    tiny = np.linspace(0, 0.1, 50)
    assert trend("x", tiny, tiny).sentence() is None
    few = np.arange(FEWEST - 1.0)
    assert trend("x", few, few).sentence() is None
    assert not trend("x", few, few).judged
    assert trend("x", np.zeros(50), np.zeros(50)).sentence() is None


def test_kendall_by_a_worked_example():
    # By hand: of the 28 pairs of (1 2 3 4 5 6 7 8) with (3 1 2 5 4 7 8 6), 23 agree and 5
    # do not; tau = 18/28. The exact two-sided chance of that much order or more is counted
    # here over all 40320 orders.
    values = [3.0, 1.0, 2.0, 5.0, 4.0, 7.0, 8.0, 6.0]

    def score(order):
        return sum(np.sign(b - a) for a, b in itertools.combinations(order, 2))

    orders = list(itertools.permutations(range(8)))
    pairs = np.array(list(itertools.combinations(range(8), 2)))
    table = np.array(orders)
    scores = np.sign(table[:, pairs[:, 1]] - table[:, pairs[:, 0]]).sum(axis=1)
    assert score(values) == 18
    exact = np.mean(np.abs(scores) >= 18)
    assert trend("x", values, values).growing == pytest.approx(exact, rel=1e-9)


def test_theils_line_is_the_median_of_pairwise_slopes():
    # Sen (1968): the slope is the median of the pairwise slopes.
    values = np.random.default_rng(2).normal(0, 1, 30) + 0.1 * np.arange(30)
    slopes = [(values[j] - values[i]) / (j - i) for i, j in itertools.combinations(range(30), 2)]
    assert trend("x", values, values).slope == pytest.approx(np.median(slopes))


# -- CSV -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "text", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\r=1", "\n=1", "  =1", '=HYPERLINK("x")']
)
def test_what_a_spreadsheet_might_run_is_made_text(text):
    assert safe(text) == f"'{text}"


@pytest.mark.parametrize("text", ["MARIT", "7-2", "", "O'Neil", "a=b", "#5"])
def test_plain_text_is_left_as_it_is(text):
    assert safe(text) == text


def nasty(store):
    pieces = random_order(5, 4, most=1, lettering=0)
    pieces[0] = replace(
        pieces[0], name='=cmd|"/c calc"!A1', colour='navy, "dark"\nblue', number="-7", size="+1"
    )
    run, clock = begin(store, pieces), Clock()
    session = clock.session(store, run, operator="@Marit", rig="=press")
    session.nudge(Shift(-1.25, 0.5, 0.01))
    clock.now += 12.34
    session.press({"x": -3.0, "y": 4.5, "angle": 0.0})
    session.spoil("=scorched", replaced=False)
    return summarise(run, store.events(run))


def test_csv_reads_back_and_runs_nothing(store):
    found = nasty(store)
    data = report_csv(found)
    # RFC 4180: CRLF ends every record, a field with commas, quotes or breaks is quoted and
    # quotes in it are doubled, every record has as many fields as the header.
    text = data.decode("utf-8-sig")
    assert text.endswith("\r\n")
    assert '"navy, ""dark""\nblue"' in text
    rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    assert tuple(rows[0]) == HEADER
    assert {len(row) for row in rows} == {len(HEADER)}
    first = dict(zip(*rows[:2], strict=True))
    assert first["result"] == "pressed"
    assert first["seconds"] == "12.3"
    assert (first["planned_x_mm"], first["correction_x_mm"]) == ("-3.00", "-1.25")
    assert first["correction_turn_deg"] == "0.57"
    numbers = {name for name in HEADER if name.endswith(("_mm", "_deg"))} | {"seconds"}
    for row in rows[1:]:
        for name, cell in zip(HEADER, row, strict=True):
            if name not in numbers:
                assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n"))


# -- PDF -----------------------------------------------------------------------------------


def test_the_pdf_holds_the_figures(store):
    found = nasty(store)
    data = report_pdf(found)
    assert data == report_pdf(found)
    document = pypdfium2.PdfDocument(data)
    assert len(document) == 1
    # ISO 216: A4 is 210 × 297 mm; ANSI Letter is 8.5 × 11 in.
    assert np.array(document[0].get_size()) / 72 * 25.4 == pytest.approx([210, 297], abs=0.1)
    text = document[0].get_textpage().get_text_range()
    for words in ("Regatta", "1 of 4", "=scorched", "too few to say"):
        assert words in text
    document.close()
    document = pypdfium2.PdfDocument(report_pdf(found, "letter"))
    assert np.array(document[0].get_size()) / 72 == pytest.approx([8.5, 11])
    document.close()


def test_a_pdf_of_nothing_and_of_letters_from_afar(store):
    run = begin(store, title="Příbor, Łódź & Ćwiczenia " * 9)
    document = pypdfium2.PdfDocument(report_pdf(summarise(run, store.events(run))))
    text = document[0].get_textpage().get_text_range()
    assert "Příbor, Łódź" in text
    assert "No finished piece was timed" in text
    document.close()


# -- the command ---------------------------------------------------------------------------


def chalkbeam(*words):
    result = CliRunner().invoke(app, ["report", *map(str, words)], env={"COLUMNS": "120"})
    if isinstance(result.exception, Refusal):
        raise result.exception
    assert result.exit_code == 0, result.output
    return result.stdout


def test_the_command(tmp_path):
    with Store(record_file()) as store:
        found = nasty(store)
    assert found.run.id[:8] in chalkbeam("--list")
    pdf, table = tmp_path / "a" / "run.pdf", tmp_path / "run.csv"
    said = chalkbeam("--pdf", pdf, "--csv", table)
    assert "1 of 4" in said
    assert pdf.read_bytes().startswith(b"%PDF-")
    assert table.read_bytes() == report_csv(found)
    numbers = json.loads(chalkbeam(found.run.id[:6], "--json", "--measure", "30"))
    assert (numbers["pressed"], numbers["measuring_saved_seconds"]) == (1, 30.0)


def test_the_command_refuses_in_a_sentence(tmp_path):
    with pytest.raises(Refusal, match="no record"):
        chalkbeam()
    Store(record_file()).close()
    with pytest.raises(Refusal, match="no run yet"):
        chalkbeam()
    with pytest.raises(Refusal, match="list the runs"):
        chalkbeam("nope")
    (tmp_path / "x.db").write_text("not a record " * 100)
    with pytest.raises(Refusal, match="damaged"):
        chalkbeam("--record", tmp_path / "x.db")


def test_every_kind_of_event_is_harmless_in_a_report(store):
    run, clock = begin(store), Clock()
    session = clock.session(store, run)
    session.step(Step.LAY)
    session.preset("nape")
    session.collar(Shift(1.0, 1.0, 0.1))
    session.note("a remark")
    session.close()
    kinds = {event.kind for event in store.events(run)}
    assert kinds >= {Kind.PRESET, Kind.COLLARED, Kind.NOTED, Kind.CLOSED}
    assert summarise(run, store.events(run)).pressed == 0


def test_where_a_print_lies_goes_with_the_press_it_came_of(store):
    run, clock = begin(store), Clock()
    session = clock.session(store, run)
    imprint = session.progress.stop.imprint.id
    session.step(Step.LAY)
    session.step(Step.PRESS)
    session.press()
    session.saw_print(imprint, "0.5 mm off", {"off_mm": [0.3, 0.4], "turned_deg": 0.0})
    outcome = summarise(run, store.events(run)).outcomes[0]
    assert (outcome.printed.x, outcome.printed.y) == (0.3, 0.4)
    rows = list(
        csv.DictReader(
            report_csv(summarise(run, store.events(run))).decode("utf-8-sig").splitlines()
        )
    )
    assert (rows[0]["printed_off_x_mm"], rows[0]["printed_off_y_mm"]) == ("0.30", "0.40")
    session.undo()
    assert summarise(run, store.events(run)).outcomes == ()
