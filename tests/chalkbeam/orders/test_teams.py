"""An order's names and numbers worked out together."""

import shutil

import pytest

from calibration.refusal import Refusal
from chalkbeam.artwork import Box
from chalkbeam.artwork.faces import find_face
from chalkbeam.locations import location
from chalkbeam.orders.place_imprint import place_imprint
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.together import pressed_once
from chalkbeam.placement.many import Placer
from chalkbeam.placement.platens import platen

INCH = 25.4
HEAD = "Style,Size,Fabric colour,Quantity,Name,Number,Location,Font"


def read(tmp_path, *rows, head=HEAD):
    path = tmp_path / "team.csv"
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return read_sheet(path)


def placed(order):
    """Every imprint's placement, by row and what it is."""
    placer = Placer()
    return {
        (piece.row, imprint.art.kind.value): place_imprint(
            placer, piece, imprint, lambda each: each.location
        )
        for piece in order.pieces
        for imprint in piece.imprints
    }


def cap_line(placement):
    art = placement.artwork
    return placement.garment_from_art.y + art.baseline - art.letters.cap


def test_names_have_one_height_and_numerals_one_depth(tmp_path):
    # A team's names are of one height and its numbers at one depth: common practice, no source.
    order = read(
        tmp_path,
        "crew tee,XL,navy,1,MONTGOMERY,88,,square",
        "crew tee,XL,navy,1,PIP,7,,square",
        "crew tee,XL,navy,1,ÉLODIE QU,10,,square",
        "crew tee,XL,navy,1,,12,,square",
    )
    found = placed(order)
    caps = {round(each.artwork.letters.cap, 6) for key, each in found.items() if key[1] == "name"}
    assert len(caps) == 1
    assert caps.pop() < 2.5 * INCH  # what MONTGOMERY fits into 12 in at
    names = [cap_line(each) for key, each in found.items() if key[1] == "name"]
    assert names == pytest.approx([3.5 * INCH] * 3, abs=0.01)
    numbers = [cap_line(each) for key, each in found.items() if key[1] == "number"]
    assert len(numbers) == 4
    assert numbers == pytest.approx([numbers[0]] * 4, abs=0.01)
    foot = names[0] + found[2, "name"].artwork.letters.cap
    assert numbers[0] - foot == pytest.approx(1.25 * INCH, abs=0.01)  # 1 to 1.5 in, TRADE
    assert found[2, "name"].artwork.ink.width == pytest.approx(12 * INCH)
    assert any("“MONTGOMERY” is too wide for more" in note for note in order.notes)
    assert any("Condensed to fit" in note and "MONTGOMERY to 5" in note for note in order.notes)


def test_a_stated_height_is_kept_or_refused_with_what_fits_all(tmp_path):
    head = HEAD + ",Name height"
    rows = [f"crew tee,XL,navy,1,{each},,block,2.5in" for each in ("PIP,7", "MONTGOMERY,88")]
    with pytest.raises(Refusal, match="row 3, column E") as refused:
        read(tmp_path, *rows, head=head)
    said = str(refused.value)
    assert "64 mm (2 1/2 in) high all" not in said
    assert "40 mm (1 5/8 in) high all names (player name, adult sizes) fit" in said
    rows = [row.replace("block", "tall") for row in rows]
    found = placed(read(tmp_path, *rows, head=head))
    caps = [each.artwork.letters.cap for key, each in found.items() if key[1] == "name"]
    assert caps == pytest.approx([2.5 * INCH] * 2)
    assert found[3, "name"].artwork.letters.share < 1


def test_an_order_whose_letters_the_usual_face_lacks_is_all_set_in_another(tmp_path):
    rows = [f"crew tee,XL,navy,1,{name},,,{face}" for name, face in
            [("PIP", ""), ("МИХАИЛ", ""), ("PIP", "block")]]  # fmt: skip
    fonts = [each.artwork.letters.font for each in placed(read(tmp_path, *rows)).values()]
    assert fonts == [find_face("plain"), find_face("plain"), find_face("block")]
    fonts = [each.artwork.letters.font for each in placed(read(tmp_path, rows[0])).values()]
    assert fonts == [find_face("tall")]


def test_ages_and_faces_are_kinds_of_their_own(tmp_path):
    order = read(
        tmp_path,
        "crew tee,XL,navy,1,FOTHERINGAY,88,,varsity",
        "crew tee,YM,navy,1,PIP,7,,varsity",
        "crew tee,XL,navy,1,PIP,7,,tall",
    )
    caps = {key[0]: each.artwork.letters.cap for key, each in placed(order).items()
            if key[1] == "name"}  # fmt: skip
    assert caps[3] == pytest.approx(2 * INCH)
    assert caps[4] == pytest.approx(2.5 * INCH)
    assert caps[2] < caps[3]


def test_left_chest_names_are_of_one_height(tmp_path):
    # They had been 2 5/8 in high for Al and 1/4 in for a long one, all 3 1/2 in wide.
    order = read(
        tmp_path,
        "crew tee,L,navy,1,Al,,left-chest-name,block",
        "crew tee,L,navy,1,Bartholomew F,,left-chest-name,block",
        head="Style,Size,Fabric colour,Quantity,Name,Number,Name location,Font",
    )
    heights = [each.artwork.letters.cap for each in placed(order).values()]
    assert heights[0] == heights[1]
    assert max(each.artwork.ink.width for each in placed(order).values()) <= 4 * INCH + 0.01


def test_numbers_under_arched_names_leave_room_for_their_ends(tmp_path):
    order = read(
        tmp_path,
        "crew tee,XL,navy,1,GANNETT,88,,tall,12in",
        "crew tee,XL,navy,1,PIP,7,,tall,12in",
        head=HEAD + ",Arc",
    )
    found = placed(order)
    assert cap_line(found[2, "number"]) == pytest.approx(cap_line(found[3, "number"]), abs=0.01)
    name, number = (Box.around(found[2, kind].hull()) for kind in ("name", "number"))
    assert number.top > name.bottom - 0.5 * INCH
    assert (
        cap_line(found[2, "number"])
        > cap_line(found[2, "name"]) + found[2, "name"].artwork.letters.cap + 1.25 * INCH
    )


def test_the_sheet_says_how_far_letters_may_be_condensed(tmp_path):
    long = "crew tee,XL,navy,1,BARTHOLOMEW-FITZGERALD,88,,block,,"
    heights = {}
    for allowed in ("", "60 %", "0.6", "100"):
        order = read(
            tmp_path,
            long + allowed,
            "crew tee,XL,navy,1,PIP,7,,block,,",
            head=HEAD + ",Arc,Narrowest",
        )
        names = [found.artwork.letters for key, found in placed(order).items() if key[1] == "name"]
        assert names[0].cap == pytest.approx(names[1].cap)  # one row speaks for its team
        heights[allowed] = names[0].cap
    assert heights["60 %"] == heights["0.6"] > heights[""]
    assert heights["100"] < heights[""]
    with pytest.raises(Refusal, match="“12” is no width to condense to: write 30 to 100 %"):
        read(tmp_path, long + "12", head=HEAD + ",Arc,Narrowest")


def test_a_font_of_the_shop_lies_beside_the_sheet(tmp_path):
    shutil.copyfile(find_face("slab"), tmp_path / "own.ttf")
    order = read(tmp_path, "crew tee,XL,navy,1,PIP,7,,own.ttf")
    assert placed(order)[2, "name"].artwork.letters.font.name == "own.ttf"
    with pytest.raises(Refusal, match=r"column H \(Font\): There is no face “blok”"):
        read(tmp_path, "crew tee,XL,navy,1,PIP,7,,blok")


def test_numbers_are_as_high_as_the_rules_of_sports_ask():
    # From memory: NFHS football asks for numbers of at least 10 in on the back, FIFA's equipment
    # regulations for 25 to 35 cm, NFHS basketball for at least 6 in on the back.
    high = location("player-number").preset.height["adult"]
    assert high.high >= 10 * INCH
    assert high.high >= 250
    assert high.low >= 6 * INCH


def test_name_and_number_go_under_one_head_or_two(tmp_path):
    order = read(tmp_path, "crew tee,L,navy,1,PIP,7,,tall", "crew tee,L,navy,2,GANNET,10,,tall")
    assert pressed_once(order.pieces) == (3, 0)
    small = {"small": platen("youth-10x12in")}
    # Name and number of an adult are at least 2 + 1 + 8 in high: no head 12 in deep takes them
    # with its margin and their tops 3 1/2 in below the collar.
    assert pressed_once(order.pieces, small) == (0, 3)
