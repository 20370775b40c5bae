"""`chalkbeam run` on a sheet that was edited, is faulty or gone, or whose artwork is missing."""

import pytest

from tests.support.crew_order import write_pennant
from tests.support.run_command import PLAIN, SHEET, STEPS, USUAL, WAY_OUT, pressed

pytestmark = pytest.mark.slow


def test_an_edited_sheet_neither_drops_nor_doubles_an_unfinished_run(shop, chalkbeam):
    (shop / "crew.csv").write_text(PLAIN)
    chalkbeam(*USUAL, "--as-listed", keys=[*STEPS, *WAY_OUT])
    (shop / "crew.csv").write_text(PLAIN + "\n")  # saved again: nothing that matters
    code, out, _ = chalkbeam(*USUAL, keys=[*STEPS, *WAY_OUT])
    assert code == 0
    assert out.startswith("Going on with the run begun ")
    assert "2 of 3 imprints pressed" in out
    (shop / "crew.csv").write_text(PLAIN.replace("navy,2", "navy,4"))
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "An unfinished run of this sheet exists (begun " in err
    assert "2 of 3 imprints pressed), and the sheet was edited:" in err
    assert "Row 2: 4 pieces instead of 2." in err
    assert "--as-recorded" in err
    assert "--new-run" in err
    assert pressed(shop) == [["2-1/1", "2-2/1"]]
    code, out, _ = chalkbeam(*USUAL, "--as-recorded", keys=[*STEPS, *WAY_OUT])
    assert "the order is finished; 3 imprints pressed" in out
    assert pressed(shop) == [["2-1/1", "2-2/1", "3-1/1"]]
    code, _, err = chalkbeam(*USUAL, "--as-recorded")
    assert code == 2
    assert "There is no unfinished run of crew.csv" in err
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "This order was finished on " in err
    assert "(3 of 3 imprints pressed) and has been edited since" in err
    code, out, _ = chalkbeam(*USUAL, "--take-changes")
    assert code == 0
    assert "3 imprints stay pressed; 2 are to be done" in out
    assert "3 of 5 imprints pressed" in out
    assert [len(run) for run in pressed(shop)] == [3, 0]


def test_changes_are_taken_in_by_one_choice(shop, chalkbeam):
    (shop / "crew.csv").write_text(PLAIN)
    chalkbeam(*USUAL, "--as-listed", keys=[*STEPS, *WAY_OUT])
    # One more of the first row, the second row dropped and another in its place.
    edited = PLAIN.replace("navy,2", "navy,3").replace("tee,L,", "tee,XL,")
    (shop / "crew.csv").write_text(edited)
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "--take-changes" in err
    code, out, err = chalkbeam(*USUAL, "--take-changes", keys=[*STEPS, *WAY_OUT])
    assert code == 0
    assert "1 imprints stay pressed; 3 are to be done" in out
    assert "2 of 4 imprints pressed" in out
    _, out, _ = chalkbeam(*USUAL, keys=[*STEPS, *STEPS, *WAY_OUT])
    assert "the order is finished; 4 imprints pressed" in out
    assert [len(run) for run in pressed(shop)] == [1, 3]


def test_a_finished_order_run_again_asks(shop, chalkbeam):
    (shop / "crew.csv").write_text(PLAIN)
    chalkbeam(*USUAL, "--as-listed", keys=[*STEPS * 3, *WAY_OUT])
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "This order was finished on " in err
    assert "(3 of 3 imprints pressed): press it all again (--new-run)" in err
    assert "only-spoiled" not in err  # nothing was
    assert "press what is new (--take-changes)" in err
    code, _, err = chalkbeam(*USUAL, "--only-spoiled")
    assert "Nothing of crew.csv was spoiled or skipped" in err
    assert chalkbeam(*USUAL, "--new-run")[0] == 0
    assert [len(run) for run in pressed(shop)] == [3, 0]


def test_new_run_begins_a_new_run_of_the_edited_sheet(shop, chalkbeam):
    (shop / "crew.csv").write_text(PLAIN)
    chalkbeam(*USUAL, "--as-listed", keys=[*STEPS, *WAY_OUT])
    (shop / "crew.csv").write_text(PLAIN.replace("navy,2", "navy,4"))
    code, out, _ = chalkbeam(*USUAL, "--new-run")
    assert code == 0
    assert "0 of 5 imprints pressed" in out
    code, _, err = chalkbeam(*USUAL, "--new-run", "--as-recorded")
    assert code == 2
    assert "give one only" in err


def test_what_options_were_called_before_still_works_and_is_not_listed(shop, chalkbeam):
    (shop / "crew.csv").write_text(PLAIN)
    before = [*USUAL[:-1], "--no-board"]
    chalkbeam(*before, "--as-listed", keys=[*STEPS, *WAY_OUT])
    (shop / "crew.csv").write_text(PLAIN.replace("navy,2", "navy,4"))
    _, out, _ = chalkbeam(*before, "--as-begun")
    assert "1 of 3 imprints pressed" in out
    _, out, _ = chalkbeam(*before, "--anew")
    assert "0 of 5 imprints pressed" in out
    _, out, _ = chalkbeam("run", "--help")
    for now in ("new-run", "as-recorded", "no-page"):
        assert f"--{now}" in out
    for then in ("anew", "as-begun", "no-board", "no-display"):
        assert f"--{then}" not in out


def test_a_sheet_that_is_faulty_or_gone_by_now_leaves_its_run_to_be_gone_on_with(shop, chalkbeam):
    chalkbeam(*USUAL, "--as-listed")
    (shop / "crew.csv").write_text(SHEET.replace("90 mm", "ninety"))
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "ninety" in err
    assert "An unfinished run of this sheet exists" in err
    assert chalkbeam(*USUAL, "--as-recorded")[0] == 0
    (shop / "crew.csv").unlink()
    assert chalkbeam(*USUAL)[0] == 2
    assert chalkbeam(*USUAL, "--as-recorded")[1].startswith("Going on with the run begun ")


def test_missing_artwork_does_not_stop_an_unfinished_run(shop, chalkbeam):
    chalkbeam(*USUAL, "--as-listed")
    (shop / "pennant.png").unlink()
    for more in ("", "\n"):  # the sheet as it was, or saved again
        (shop / "crew.csv").write_text(SHEET + more)
        code, out, err = chalkbeam(*USUAL)
        assert code == 0
        assert out.startswith("Going on with the run begun ")
        assert "To be skipped for now: rows 2, 3: The artwork file " in err
        assert "pennant.png is missing" in err


def test_a_run_begins_without_some_artwork_only_if_that_is_asked_for(shop, chalkbeam):
    (shop / "crew.csv").write_text(PLAIN.replace("pennant.png,250", "oar.png,250"))
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "there is no file “oar.png”" in err
    assert "--anyway" in err
    assert pressed(shop) == []
    keys = [*STEPS * 2, *WAY_OUT]
    code, out, err = chalkbeam(*USUAL, "--anyway", "--as-listed", keys=keys)
    assert code == 0
    assert "To be skipped for now: row 3: The artwork file " in err
    assert "2 of 3 imprints pressed" in out
    write_pennant(shop / "oar.png")  # put back: the run takes it
    _, out, _ = chalkbeam(*USUAL, keys=[*STEPS, *WAY_OUT])
    assert "the order is finished; 3 imprints pressed" in out


def test_rows_that_cannot_be_read_are_left_out_only_if_that_is_asked_for(shop, chalkbeam):
    (shop / "crew.csv").write_text(PLAIN + "crew tee,9XL,navy,two,left chest,pennant.png,90 mm,\n")
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "begin all the same with --anyway: rows that cannot be read are then left out" in err
    code, out, err = chalkbeam(*USUAL, "--anyway", "--as-listed", keys=[*STEPS, *WAY_OUT])
    assert code == 0
    assert "Left out of the run: row 4, column B (Size): " in err
    assert "Left out of the run: row 4, column D (Qty): “two” is not a number of pieces" in err
    assert "Not in this run, as they could not be read: row 4, column B (Size); row 4, col" in out
    assert "1 of 3 imprints pressed" in out
    # It is said again as long as the run is gone on with.
    code, out, err = chalkbeam(*USUAL, keys=[*STEPS * 2, *WAY_OUT])
    assert "Left out of the run: row 4, column D (Qty)" in err
    assert "the order is finished; 3 imprints pressed" in out
    assert "Not in this run, as they could not be read: row 4" in out


def test_the_row_put_right_meanwhile_is_told(shop, chalkbeam):
    wrong = "crew tee,M,white,two,left chest,pennant.png,90 mm,\n"
    (shop / "crew.csv").write_text(PLAIN + wrong)
    chalkbeam(*USUAL, "--anyway", "--as-listed", keys=[*STEPS, *WAY_OUT])
    (shop / "crew.csv").write_text(PLAIN + wrong.replace("two", "2"))
    code, _, err = chalkbeam(*USUAL)
    assert code == 2
    assert "Row 4: new, 2 × " in err


@pytest.mark.parametrize(
    "sheet",
    [
        PLAIN.replace("Size,", "Sighs,"),  # a column that must be there
        PLAIN.replace("Qty", "Size"),  # two of one kind
        PLAIN.replace("crew tee,", "dinghy,"),  # not one row can be read
    ],
)
def test_a_sheet_that_cannot_be_read_at_all_is_refused_even_so(shop, chalkbeam, sheet):
    (shop / "crew.csv").write_text(sheet)
    code, _, err = chalkbeam(*USUAL, "--anyway")
    assert code == 2
    assert "to correct:" in err
    assert "--anyway" not in err
    assert pressed(shop) == []
