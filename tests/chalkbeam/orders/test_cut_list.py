"""Ganged sheets: which piece is cut out of which, what is short, and what is spare."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calibration.refusal import Refusal
from chalkbeam.basics.units import Unit
from chalkbeam.orders.cut_list import cut_list
from chalkbeam.orders.pieces import Art, ArtKind, Cut, Imprint, Piece
from chalkbeam.orders.printed import (
    Printed,
    PrintedSheet,
    PrintedTransfer,
    as_needed,
    read_printed,
    wanted,
)

CREST, BACK = "crest.svg", "back.pdf"


def piece(row, *arts):
    """A piece with one imprint for each (file, width) or (file, pick)."""
    imprints = []
    for number, (text, size) in enumerate(arts, start=1):
        picked = isinstance(size, int)
        art = Art(ArtKind.FILE, text, cut=Cut(pick=size if picked else None))
        width = None if picked else size
        imprints.append(Imprint(f"{row}-1/{number}", "left-chest", art, width))
    return Piece(f"{row}-1", row, 1, 1, "crew_tee", "M", "navy", tuple(imprints))


def test_a_list_of_mixed_sheets_is_dealt_out_in_the_order_of_work(tmp_path):
    """Worked by hand: 2 sheets of 2 crests and 1 back, 1 sheet of 2 crests; 5 shirts, 3 backs."""
    pieces = [piece(row, (CREST, 89.0), (BACK, 280.0)) for row in (2, 3, 4)]
    pieces += [piece(5, (CREST, 89.0)), piece(6, (CREST, 70.0))]
    path = tmp_path / "printed.csv"
    path.write_text(
        "Sheet,Artwork,Width,On each,Sheets\n"
        "A,crest.svg,3 1/2 in,2,2\nA,back.pdf,280 mm,1,2\nB,crest.svg,89 mm,2,1\n"
        "B,crest.svg,70 mm,1,1\nB,other.svg,,4,1\n"
    )
    printed = read_printed(path, pieces, tmp_path, None)
    assert printed.notes == ("Row 6: “other.svg” so printed is not in this order.",)
    found = cut_list(pieces, printed)
    dealt = [
        (sheet.title, [(p.number, p.piece.id if p.piece else "spare") for p in sheet.places])
        for sheet in found.sheets
    ]
    assert dealt == [
        ("A, sheet 1 of 2", [(1, "2-1"), (2, "3-1"), (3, "2-1")]),
        ("A, sheet 2 of 2", [(1, "4-1"), (2, "5-1"), (3, "3-1")]),
        ("B", [(1, "spare"), (2, "spare"), (3, "6-1")]),
    ]
    assert [(t.words(Unit.MM), n) for t, n in found.short] == [("back, 280 mm wide", 1)]
    assert [(t.text, n) for t, n in found.spares] == [(CREST, 2)]
    assert found.taken_from()["5-1/1"] == "A, sheet 2 of 2, number 2"


def test_a_ganged_file_is_printed_as_often_as_its_most_wanted_artwork():
    pieces = [piece(2, ("gang.png", 1)), piece(3, ("gang.png", 1), ("gang.png", 3))]
    found = cut_list(pieces, as_needed(pieces))
    assert [sheet.title for sheet in found.sheets] == [
        "gang.png, sheet 1 of 2", "gang.png, sheet 2 of 2",
    ]  # fmt: skip
    first, second = ([(p.number, p.piece and p.piece.id) for p in s.places] for s in found.sheets)
    assert (first, second) == ([(1, "2-1"), (3, "3-1")], [(1, "3-1"), (3, None)])
    assert found.short == ()


def test_an_artwork_without_its_size_is_told_from_its_like(tmp_path):
    pieces = [piece(2, (CREST, 89.0)), piece(3, (CREST, 70.0))]
    path = tmp_path / "printed.csv"
    path.write_text("Artwork,Width,Sheets\ncrest.svg,,4\n")
    with pytest.raises(Refusal, match=r"may be several transfers \(crest, 89 mm wide; crest, 70"):
        read_printed(path, pieces, tmp_path, None)
    path.write_text("Artwork,Width\ncrest.svg,89 mm\n")
    with pytest.raises(Refusal, match="how many were printed: add a Sheets column"):
        read_printed(path, pieces, tmp_path, None)
    path.write_text("Sheet,Artwork,Width,Sheets\nA,crest.svg,89 mm,2\nA,crest.svg,70 mm,3\n")
    with pytest.raises(Refusal, match="“A” was printed 2 times by another row"):
        read_printed(path, pieces, tmp_path, None)


def test_art_of_no_stated_size_is_another_for_another_garment():
    one, other = piece(2, (CREST, None)), piece(3, (CREST, None))
    assert len(wanted([one, other])) == 1
    youth = Piece("4-1", 4, 1, 1, "crew_tee", "YM", "navy", other.imprints)
    assert len(wanted([one, youth])) == 2


ARTS = st.sampled_from([(CREST, 89.0), (CREST, 70.0), (BACK, 280.0), ("gang.png", 1)])


@given(st.lists(st.lists(ARTS, min_size=1, max_size=3), min_size=1, max_size=8), st.data())
def test_every_transfer_is_dealt_out_once(orders, data):
    pieces = [piece(row, *arts) for row, arts in enumerate(orders, start=2)]
    order = wanted(pieces)
    sheets = [
        PrintedSheet(f"S{number}", data.draw(st.integers(1, 3)), tuple(
            (each, data.draw(st.integers(1, 3))) for each in order if data.draw(st.booleans())
        ))
        for number in range(data.draw(st.integers(0, 3)))
    ]  # fmt: skip
    printed = Printed(tuple(sheets))
    found = cut_list(pieces, printed)
    dealt = [p for sheet in found.sheets for p in sheet.places]
    ids = [p.imprint.id for p in dealt if p.imprint]
    assert len(ids) == len(set(ids))
    for p in dealt:
        assert p.piece is None or PrintedTransfer.of(p.piece, p.imprint) == p.transfer
    there, short, spare = Counter(p.transfer for p in dealt), Counter(dict(found.short)), Counter(
        dict(found.spares)
    )  # fmt: skip
    assert there == Counter(printed.counts)
    for transfer, count in order.items():
        lacking = short[transfer] + dict(found.unlisted).get(transfer, 0)
        assert count - there[transfer] == lacking - spare[transfer]
        assert not (short[transfer] and spare[transfer])
    whole = cut_list(pieces, as_needed(pieces))
    assert whole.short == ()
