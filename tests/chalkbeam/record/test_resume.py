"""Whether an unfinished run may be gone on with after its sheet was edited or artwork moved."""

from dataclasses import replace

import pytest

from calibration.refusal import Refusal, RemedyKind
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import PressSetup
from chalkbeam.orders.problems import SheetRefusal
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.times import Times
from chalkbeam.record.resume import absent_artwork, check_unchanged, left_unfinished
from chalkbeam.record.session import open_session
from chalkbeam.record.sheet_changes import differences, sheet_trouble
from chalkbeam.record.store import Store
from tests.support.remedies import kinds

HEAD = "Style,Size,Colour,Qty,Location,Artwork,Width,Name,Number\n"
ROWS = (
    "crew tee,M,navy,2,left chest,pennant.png,90 mm,,\n",
    "crew tee,L,navy,1,full back,oar.png,250 mm,,\n",
    "crew tee,S,navy,1,player name; player number,name; number,,MARIT,7\n",
)


@pytest.fixture
def sheet(tmp_path):
    for name in ("pennant.png", "oar.png"):
        (tmp_path / name).write_bytes(b"")
    path = tmp_path / "crew.csv"
    path.write_text(HEAD + "".join(ROWS))
    return path


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "record.db") as store:
        yield store


def begin(store, sheet):
    order = read_sheet(sheet)
    planned = plan(order.pieces, Times(), lambda piece, imprint: PressSetup(), as_listed=True)
    return store.begin(planned, title="crew", sheet=sheet.resolve(), digest=order.digest)


def left_after(store, sheet, *rows, head=HEAD):
    sheet.write_text(head + "".join(rows))
    order = read_sheet(sheet)
    left = left_unfinished(store, sheet, order.digest)
    check_unchanged(left, list(order.pieces))
    return left


def test_an_unfinished_run_is_found_by_its_file_or_by_what_the_file_says(store, sheet, tmp_path):
    run = begin(store, sheet)
    copy = tmp_path / "copy.csv"
    copy.write_bytes(sheet.read_bytes())
    digest = run.digest
    assert left_unfinished(store, copy, digest).run.id == run.id
    assert left_unfinished(store, sheet, "another").run.id == run.id
    assert left_unfinished(store, copy, "another") is None
    session = open_session(store, run)
    session.press()
    left = left_unfinished(store, sheet, digest)
    assert (left.pressed, len(left.still_open)) == (1, 4)
    assert str(left).endswith(", 1 of 5 imprints pressed")
    for _ in range(4):
        session.press()
    assert left_unfinished(store, sheet, digest) is None


def test_a_copied_sheet_and_its_original_keep_to_their_own_runs(store, sheet, tmp_path):
    copy = tmp_path / "copy.csv"
    copy.write_bytes(sheet.read_bytes())
    own = begin(store, sheet)
    copys = begin(store, copy)  # the newer one, of the same bytes
    assert left_unfinished(store, sheet, own.digest).run.id == own.id
    assert left_unfinished(store, copy, own.digest).run.id == copys.id
    # A third is told from them only where that is asked for.
    third = tmp_path / "third.csv"
    assert left_unfinished(store, third, None) is None
    assert left_unfinished(store, third, own.digest).run.id == copys.id


@pytest.mark.parametrize(
    "rows",
    [
        (*ROWS, "\n", ",,,,,,,,\n"),
        (ROWS[0], "\n", *ROWS[1:]),  # every row below has another number
        tuple(row.replace(",navy,", ", navy ,") for row in ROWS),
    ],
)
def test_a_sheet_that_only_looks_different_is_gone_on_with(store, sheet, rows):
    run = begin(store, sheet)
    assert left_after(store, sheet, *rows).run.id == run.id


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ((ROWS[0].replace(",2,", ",3,"), *ROWS[1:]), ["Row 2: 3 pieces instead of 2."]),
        (ROWS[:2], ["Row 4: gone, it was 1 × crew tee · navy · S."]),
        (
            (ROWS[0], ROWS[1].replace(",L,", ",M,"), ROWS[1], ROWS[2]),
            ["Row 3: new, 1 × crew tee · navy · M."],
        ),
        (
            (ROWS[0].replace("90 mm", "95 mm"), ROWS[1], ROWS[2].replace("MARIT", "MERIT")),
            ["Row 2: another width.", "Row 4: another name."],
        ),
        (
            (ROWS[0].replace("90 mm", "95 mm"), ROWS[1].replace("250 mm", "9 in"), ROWS[2]),
            ["Rows 2, 3: another width."],
        ),
        (
            (ROWS[0].replace(",M,", ",XL,"), *ROWS[1:]),
            ["Row 2: crew tee · navy · XL instead of crew tee · navy · M."],
        ),
    ],
)
def test_a_sheet_that_asks_for_something_else_is_refused(store, sheet, rows, says):
    begin(store, sheet)
    with pytest.raises(Refusal) as refused:
        left_after(store, sheet, *rows)
    head, *told, choice = str(refused.value).splitlines()
    assert head.startswith("An unfinished run of this sheet exists (begun ")
    assert head.endswith(", 0 of 5 imprints pressed), and the sheet was edited:")
    assert [line.strip() for line in told] == says
    assert choice == (
        "Keep what is pressed and go on with the edited order, go on with it as it was recorded, "
        "or begin a new run."
    )
    assert kinds(refused.value) == [
        RemedyKind.TAKE_CHANGES,
        RemedyKind.AS_RECORDED,
        RemedyKind.NEW_RUN,
    ]


def test_a_whole_new_order_is_not_told_row_by_row(store, sheet):
    begin(store, sheet)
    with pytest.raises(Refusal, match=r"\n  … and 13 more\.\n"):
        left_after(
            store, sheet, *(f"zip hood,M,red,{n},nape,oar.png,60 mm,,\n" for n in range(1, 22))
        )


def test_moved_artwork_is_no_difference(sheet, tmp_path):
    pieces = read_sheet(sheet).pieces
    (away := tmp_path / "away").mkdir()
    for name in ("pennant.png", "oar.png"):
        (away / name).write_bytes(b"")
    assert differences(pieces, read_sheet(sheet, artwork_folder=away).pieces) == ()
    other = [replace(pieces[0], size="XL"), *pieces[1:]]
    assert len(differences(pieces, other)) == 1


def test_among_rows_alike_an_edited_one_is_told_at_its_place(sheet):
    def pieces(rows):
        sheet.write_text(HEAD + "".join(rows))
        return read_sheet(sheet).pieces

    rows = [ROWS[0]] * 60
    edited = [*rows[:24], ROWS[0].replace(",M,", ",L,"), *rows[25:]]
    before = pieces(rows)
    assert differences(before, pieces(edited)) == (
        "Row 26: crew tee · navy · L instead of crew tee · navy · M.",
    )
    edited[40] = edited[24]
    assert [each[:12] for each in differences(before, pieces(edited))] == ["Rows 26, 42:"]
    # A row that is taken out above and another put in below are told as such, not as 40 edits.
    mixed = [ROWS[0].replace("90 mm", f"{width} mm") for width in range(50, 110)]
    moved = [*mixed[:10], *mixed[11:50], ROWS[2], *mixed[50:]]
    told = differences(pieces(mixed), pieces(moved))
    assert [each.partition(":")[0] for each in told] == ["Row 12", "Row 51"]


def test_an_edit_that_is_known_is_not_told_again(store, sheet):
    run = begin(store, sheet)
    left_after(store, sheet, *ROWS, "\n")
    known = read_sheet(sheet).digest
    assert "has been edited" in sheet_trouble(run)
    assert sheet_trouble(run, known) is None
    sheet.write_text(HEAD + ROWS[0])
    assert "has been edited" in sheet_trouble(run, known)


def test_missing_artwork_is_told_by_its_rows_and_only_where_it_is_still_wanted(store, sheet):
    run = begin(store, sheet)
    (sheet.parent / "pennant.png").unlink()
    left = left_unfinished(store, sheet, run.digest)
    (told,) = absent_artwork(left.still_open)
    assert told.startswith("row 2: The artwork file ")
    assert "pennant.png is missing" in told
    session = open_session(store, run)
    session.press()
    session.press()
    assert absent_artwork(left_unfinished(store, sheet, run.digest).still_open) == ()


def test_a_sheet_is_read_without_its_artwork_only_where_that_is_asked_for(sheet):
    (sheet.parent / "pennant.png").unlink()
    with pytest.raises(SheetRefusal, match=r"there is no file “pennant\.png”"):
        read_sheet(sheet)
    art = read_sheet(sheet, absent=True).pieces[0].imprints[0].art
    assert art.path == (sheet.parent / "pennant.png").resolve()
