"""What may change under a run: its sheet and its artwork."""

from dataclasses import replace

from chalkbeam.orders.pieces import Art, ArtKind
from chalkbeam.orders.place_imprint import artwork_trouble
from chalkbeam.record.sheet_changes import differences, sheet_trouble
from tests.support.random_orders import begin, random_order


def test_a_sheet_edited_under_way(store, tmp_path):
    from chalkbeam.basics.spreadsheets import digest_of

    sheet = tmp_path / "order.csv"
    sheet.write_text("a")
    run = begin(store, sheet=sheet, digest=digest_of(sheet))
    assert sheet_trouble(run) is None
    sheet.write_text("b")
    assert "has been edited" in sheet_trouble(run)
    sheet.unlink()
    assert "is gone" in sheet_trouble(run)


def test_an_artwork_file_gone_missing(tmp_path):
    file = tmp_path / "crest.svg"
    file.write_text("")
    art = Art(ArtKind.FILE, "crest.svg", file)
    assert artwork_trouble(art) is None
    file.unlink()
    assert "is missing" in artwork_trouble(art)
    assert artwork_trouble(Art(ArtKind.NAME, "MARIT")) is None


def test_how_two_readings_of_a_sheet_differ():
    before = random_order(1, 5)
    now = [replace(before[0], size="XL"), *before[2:], replace(before[0], id="99-1", row=99)]
    first, second = before[0].pile, before[1].pile
    assert differences(before, now) == (
        f"Row 2: {now[0].pile} instead of {first}.",
        f"Row 3: gone, it was 1 × {second}.",
        f"Row 99: new, 1 × {first}.",
    )
    other = replace(before[0], note="fold", imprints=(replace(before[0].imprints[0], pad="S"),))
    assert differences(before[:1], [other]) == ("Row 2: another note and pad.",)
    assert differences(before, before) == ()
