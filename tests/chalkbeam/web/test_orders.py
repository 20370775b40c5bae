"""Orders on the page: dropped in or typed, mended in place, seen, proved, planned."""

from __future__ import annotations

import csv
import io
import multiprocessing
import re
from dataclasses import replace

import openpyxl
import pytest
from PIL import Image, ImageDraw

from calibration.files import resolved, write_whole
from calibration.refusal import Refusal
from calibration.rig import library
from chalkbeam.basics.units import Unit
from chalkbeam.cli.run_for_page import _repeated, _title, _unit
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.stretches import stretches
from chalkbeam.presses.places import settings_file
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.web.doors import Right
from chalkbeam.web.orders.folders import About, OrderFolder, file_name, make_order, slug
from chalkbeam.web.orders.table import OrderTable, take_over
from tests.support.browser import serious
from tests.support.rigs import demo_rig
from tests.support.sheets import workbook

HEADER = "Style,Size,Colour,Quantity,Location,Artwork,Width\r\n"
ROW = "Crew tee,M,navy,2,left chest,crest.png,89 mm\r\n"


def crest(high: int = 200) -> bytes:
    """Return a round mark, 200 px across, as PNG; an oval of another height."""
    picture = Image.new("RGBA", (220, high + 20))
    ImageDraw.Draw(picture).ellipse((10, 10, 209, high + 9), fill=(240, 200, 60, 255))
    kept = io.BytesIO()
    picture.save(kept, "PNG")
    return kept.getvalue()


def sent_files(files, **fields):
    """Return a body and its kind as a browser's form sends files (RFC 7578)."""
    parts = [
        f'--edge\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    for name, content in files.items():
        head = f'--edge\r\nContent-Disposition: form-data; name="files"; filename="{name}"\r\n'
        parts.append(f"{head}Content-Type: application/octet-stream\r\n\r\n".encode() + content)
        parts.append(b"\r\n")
    return b"".join([*parts, b"--edge--\r\n"]), "multipart/form-data; boundary=edge"


@pytest.fixture
def drop(ask):
    """Send files to a door."""

    def send(path, files, **fields):
        body, kind = sent_files(files, **fields)
        return ask(path, body=body, content_type=kind)

    return send


def fields_of(page: str) -> dict[str, str]:
    """Return the fields of an order's table as a browser would send them."""
    found = re.findall(r'<input (?:type="hidden" )?name="([^"]+)" value="([^"]*)"', page)
    return {name: value for name, value in found if name != "token"}


@pytest.fixture
def order(workshop) -> OrderFolder:
    """An order of two tees, its artwork beside it."""
    rows = (("Crew tee", "M", "navy", "2", "left chest", "crest.png", "89 mm", "", "", "", ""),)
    made = make_order(workshop.orders, About(title="Rowing, regatta"), OrderTable(rows=rows))
    made.add_artwork("crest.png", crest())
    return made


# -- tables --------------------------------------------------------------------------------


def test_a_sheet_taken_over_asks_for_the_same_pieces(tmp_path):
    (tmp_path / "crest.png").write_bytes(crest())
    path = tmp_path / "their order.csv"
    path.write_text(
        "Tern Harbour\n\nGarment;Size;Qty;Location;Artwork;Width (cm);Note\n"
        'crew tee;M;2;LC;crest.png;8,9;"says ""bow"", twice"\n\nCrew tee;L;1;LC;crest.png;8,9;\n'
        "Total;;3;;;;\n",
        encoding="utf-8",
    )
    before = read_sheet(path)
    taken = take_over(path, "their order.csv")
    assert taken.numbers == (4, 6)
    assert any("Total" in each for each in taken.remarks)
    path.write_bytes(taken.table.csv())
    after = read_sheet(path)

    def asked(sheet):
        return [(p.style, p.size, p.copy, p.note, [i.width for i in p.imprints]) for p in sheet]

    assert asked(after.pieces) == asked(before.pieces)
    # RFC 4180: quotes within a quoted field are doubled.
    assert list(csv.reader(io.StringIO(path.read_text("utf-8-sig"))))[1][-1] == 'says "bow", twice'


def test_what_a_workbook_does_not_say_in_words_is_left_empty_and_told(tmp_path):
    path = tmp_path / "order.xlsx"
    rows = [HEADER.strip().split(","), ["Crew tee", "M", "navy", 2, "left chest", "=A9", "89 mm"]]
    rows += [["Crew tee", size, "navy", "", "left chest", "crest.png", "89 mm"] for size in "LS"]
    rows[2][3] = 5
    workbook(path, rows, merged=("D3:D4",))
    taken = take_over(path, path.name)
    assert [row[3] for row in taken.table.rows] == ["2", "", ""]
    assert taken.table.rows[0][5] == ""
    assert "Row 2, Artwork" in " ".join(taken.remarks)
    assert "Row 3, Quantity" in " ".join(taken.remarks)
    assert openpyxl.load_workbook(path)["Order"]["D3"].value == 5  # the file is only read


def test_a_sheet_without_a_header_is_refused_by_its_own_name(tmp_path):
    path = tmp_path / "sheet.csv"
    path.write_text("hello,there\n", encoding="utf-8")
    with pytest.raises(Refusal, match=r"^what they sent\.csv has no header row"):
        take_over(path, "what they sent.csv")


def test_location_twice_in_a_header_goes_on_meaning_two_imprints(tmp_path):
    path = tmp_path / "order.csv"
    path.write_text("Style,Size,Location,Art,Location,Art\n,,,,,\nTee,M,LC,a.png,back,b.png\n")
    table = take_over(path, path.name).table
    assert table.titles == ("Style", "Size", "Location", "Art", "Location 2", "Art 2")
    assert table.fields() == ("style", "size", "location", "artwork", "location", "artwork")


def test_columns_are_added_once_and_odd_ones_are_named():
    table = OrderTable(("Style", "Garb", "Size"), (("Tee", "x", "M"),))
    assert table.fields() == ("style", "", "size")
    assert table.with_titles({1: "Location", 0: "Fit"}).fields() == ("style", "location", "size")
    wider = table.with_column("Note")
    assert wider.titles[-1] == "Note"
    assert wider.with_column("Note") == wider
    assert wider.with_column("Nonsense") == wider


@pytest.mark.parametrize(
    ("given", "kept"),
    [("crest.png", "crest.png"), ("C:\\art\\crest.png", "crest.png"), ("../../x.svg", "x.svg"),
     (".hidden.png", "hidden.png"), ("a\nb:c.png", "abc.png")],
)  # fmt: skip
def test_names_of_files_lead_nowhere_else(given, kept):
    assert file_name(given) == kept


@pytest.mark.parametrize("given", ["", "..", "/", "crest", "...png"])
def test_names_that_are_none_are_refused(given):
    with pytest.raises(Refusal):
        file_name(given)


def test_folders_are_called_after_titles():
    assert slug("Tern Harbour: régate, 2") == "tern-harbour-regate-2"
    assert slug("…") == "order"


# -- the page ------------------------------------------------------------------------------


def test_a_sheet_and_its_artwork_dropped_in_make_a_folder_that_the_command_line_reads(
    drop, workshop
):
    sent = {"their order.csv": (HEADER + ROW).encode(), "crest.png": crest()}
    made = drop("/orders", sent, title="", customer="Tern Harbour")
    assert made.status == 303
    assert made.headers["location"] == "/orders/their-order"
    folder = workshop.orders / "their-order"
    assert {each.name for each in folder.iterdir()} == {"sheet.csv", "crest.png", "order.toml"}
    order = read_sheet(folder / "sheet.csv")
    assert [piece.id for piece in order.pieces] == ["2-1", "2-2"]
    assert order.pieces[0].imprints[0].width == 89.0


@pytest.mark.parametrize(
    "files",
    [{"run.exe": b"MZ"}, {"a.csv": HEADER.encode(), "b.csv": HEADER.encode()}, {},
     {"order.xlsx": b"PK\x03\x04" + b"\xff" * 300},
     {"order.csv": b"%PDF-1.7"}],
    ids=["a program", "two sheets", "nothing", "a broken workbook", "a PDF"],
)  # fmt: skip
def test_what_is_no_order_is_refused_and_nothing_is_kept(drop, workshop, files):
    answer = drop("/orders", files)
    assert answer.status == 400
    assert not workshop.orders.exists() or not list(workshop.orders.iterdir())


def test_a_faulty_cell_is_marked_with_its_sentence_and_mended_by_a_tap(ask, order):
    right = order.taken().table.rows[0]
    wrong = ("Crew tea", *right[1:6], "89", *right[7:])
    order.save_table(OrderTable(rows=(wrong,)))
    page = ask(f"/orders/{order.name}").text
    assert 'name="c-0-0" value="Crew tea" aria-label="Style, Row 2"' in page
    assert page.count('aria-invalid="true"') == 2
    assert "There is no style “Crew tea”" in page
    assert 'name="take" value="0-0-crew tee"' in page
    assert 'name="take" value="0-6-89 mm"' in page
    fields = fields_of(page)
    assert ask(f"/orders/{order.name}", form={**fields, "take": "0-0-crew tee"}).status == 303
    fields = fields_of(ask(f"/orders/{order.name}").text)
    ask(f"/orders/{order.name}", form={**fields, "take": "0-6-89 mm"})
    assert 'aria-invalid="true"' not in ask(f"/orders/{order.name}").text
    assert len(read_sheet(order.sheet).pieces) == 2


def test_what_is_offered_can_be_taken_in_every_row_that_says_the_same(ask, order):
    row = ("Crew tee", "M", "navy", "1", "left chest", "crest.png", "3.5", "", "", "", "")
    other = (*row[:6], "89 mm", *row[7:])
    order.save_table(OrderTable(rows=(row, row, other, row)))
    page = ask(f"/orders/{order.name}").text
    assert "“3.5 in” in all 3 rows" in page
    ask(f"/orders/{order.name}", form={**fields_of(page), "take_all": "1-6-3.5 in"})
    assert [each[6] for each in order.taken().table.rows] == ["3.5 in", "3.5 in", "89 mm", "3.5 in"]
    before = order.taken().table
    for wild in ("9-9-x", "1--x", "-1-2-x", "1", "1-99-x"):
        fields = fields_of(ask(f"/orders/{order.name}").text)
        assert ask(f"/orders/{order.name}", form={**fields, "take_all": wild}).status == 303
    assert order.taken().table == before


def test_a_transfer_of_the_shelf_can_be_named_in_a_column_of_its_own():
    table = OrderTable()
    assert "Transfer" in table.more_titles()
    added = table.with_column("Transfer")
    assert added.fields()[-1] == "transfer"
    assert "Transfer" not in added.more_titles()
    assert not set(table.titles) & set(table.more_titles())


def test_rows_of_a_sheet_made_by_hand_keep_their_numbers(ask, workshop):
    folder = workshop.orders / "by-hand"
    folder.mkdir(parents=True)
    (folder / "crest.png").write_bytes(crest())
    text = "Tern Harbour;\n;\nGarment;Size;Location;Art\nTee;M;LC;crest.png\n"
    (folder / "theirs.csv").write_text(text, encoding="utf-8")
    fields = fields_of(ask("/orders/by-hand").text)
    assert ask("/orders/by-hand", form={**fields, "c-0-1": "XL"}).status == 303
    order = read_sheet(folder / "theirs.csv")
    assert [(each.id, each.size) for each in order.pieces] == [("4-1", "XL")]
    assert not (folder / "sheet.csv").exists()


def test_two_who_change_an_order_do_not_overwrite_each_other(ask, order):
    fields = fields_of(ask(f"/orders/{order.name}").text)
    assert ask(f"/orders/{order.name}", form={**fields, "c-0-1": "L"}).status == 303
    late = ask(f"/orders/{order.name}", form={**fields, "c-0-1": "S"})
    assert late.status == 400
    assert "changed this order meanwhile" in late.text
    assert order.taken().table.rows[0][1] == "L"


def test_a_long_order_is_shown_and_saved_by_parts(ask, order):
    row = ("Crew tee", "M", "navy", "1", "left chest", "crest.png", "89 mm", "", "", "", "")
    order.save_table(OrderTable(rows=(row,) * 95))
    page = ask(f"/orders/{order.name}?from=40").text
    fields = fields_of(page)
    assert 'value="Crew tee" aria-label="Style, Row 42"' in page
    assert "c-39-0" not in fields
    assert "c-80-0" not in fields
    ask(f"/orders/{order.name}", form={**fields, "c-41-2": "XL"})
    rows = order.taken().table.rows
    assert len(rows) == 95
    assert [index for index, each in enumerate(rows) if each[2] == "XL"] == [41]


def test_who_may_only_look_changes_nothing(ask, order):
    page = ask(f"/orders/{order.name}", right=Right.PRESS).text
    assert "readonly" in page
    assert "Save and check" not in page
    for path in ("", "/files", "/seen", "/again"):
        assert ask(f"/orders/{order.name}{path}", form={}, right=Right.PRESS).status == 403


@pytest.mark.parametrize("name", ["nothing", "..", "%2e%2e", "a%2fb", ".git"])
def test_no_name_leads_out_of_the_folder_of_orders(ask, order, name):
    (order.path.parent.parent / "sheet.csv").write_text(HEADER)
    assert ask(f"/orders/{name}").status in (400, 404)
    assert ask(f"/orders/{order.name}/ink/..%2f..%2fsheet.csv").status == 404


def test_the_plan_of_work_is_that_of_the_command_line(ask, order):
    from chalkbeam.orders.order_of_work import plan
    from chalkbeam.orders.shop import fit_on_press
    from chalkbeam.orders.times import Times, format_duration

    planned = plan(read_sheet(order.sheet).pieces, Times.parse("load=100"), fit_on_press)
    page = ask(f"/orders/{order.name}/plan?times=load%3D100").text
    assert f"<dd>{format_duration(planned.seconds)}</dd>" in page
    assert stretches(planned)[0].codes == "2-1…2-2"
    assert "2-1…2-2" in page
    assert "is not a step with a time" in ask(f"/orders/{order.name}/plan?times=nap%3D1").text


def test_an_order_is_found_again_by_a_name_on_a_shirt_and_made_anew(
    ask, workshop, order, monkeypatch
):
    from chalkbeam.orders.order_of_work import plan
    from chalkbeam.orders.shop import fit_on_press

    table = order.taken().table
    order.save_table(table.with_rows(0, [[*table.rows[0][:8], "INÉS", "6", ""]]))
    sheet = read_sheet(order.sheet)
    with Store(workshop.record) as store:
        planned = plan(sheet.pieces, None, fit_on_press)
        run = store.begin(planned, title="sheet", sheet=order.sheet, digest=sheet.digest)
        session = open_session(store, run)
        for _ in planned.stops:
            session.press()
        store.begin(planned, title="old one", sheet=workshop.data / "x.csv", digest="0")
    listed = ask("/orders?q=in%C3%A9s").text
    assert f'href="/orders/{order.name}"' in listed
    assert "6 of 6 imprints pressed" in listed
    assert "old one" not in listed
    assert "old one" in ask("/orders").text
    assert f'href="/orders/{order.name}"' not in ask("/orders?q=zebra").text
    again = ask(f"/orders/{order.name}/again", form={"title": ""})
    assert again.headers["location"] == "/orders/rowing-regatta-again"
    made = OrderFolder(workshop.orders / "rowing-regatta-again")
    assert made.about.earlier == run.id
    assert made.artwork == ("crest.png",)
    assert "come back at the press" in ask("/orders/rowing-regatta-again").text
    monkeypatch.setattr("chalkbeam.record.store.record_file", lambda: workshop.record)
    assert _repeated(workshop, made.sheet) == run.id
    assert _repeated(workshop, order.sheet) is None
    with Store(workshop.record) as store:  # begun once, it goes on with its own run
        store.begin(planned, title="sheet", sheet=resolved(made.sheet), digest=sheet.digest)
    assert _repeated(workshop, made.sheet) is None


def test_an_order_is_begun_at_the_press_by_who_may_press(ask, served, order):
    begun = []
    served.app.state.press.start = lambda sheet, *_: begun.append(sheet)
    assert ask(f"/orders/{order.name}/press", form={}, right=Right.SEE).status == 403
    answer = ask(f"/orders/{order.name}/press", form={}, right=Right.PRESS)
    assert answer.headers["location"] == "/press"
    assert begun == [order.sheet]


# -- in a browser --------------------------------------------------------------------------


@pytest.mark.slow
def test_an_order_typed_with_a_fault_is_mended_seen_and_proved(let_in, workshop, tmp_path):
    from playwright.sync_api import expect

    page = let_in()
    page.route("**/worn/**", lambda route: route.abort())  # seconds of sums, tested elsewhere
    page.goto("/orders")
    page.get_by_role("link", name="New order").click()
    (tmp_path / "crest.png").write_bytes(crest())
    page.set_input_files("input[type=file]", tmp_path / "crest.png")
    page.fill("[name=title]", "Regatta")
    page.get_by_role("button", name="Make the order").click()
    typed = {"Style": "Crew tee", "Size": "M", "Colour": "navy", "Quantity": "2",
             "Location": "left chezt", "Artwork": "crest.png", "Width": "89 mm"}  # fmt: skip
    for title, word in typed.items():
        page.get_by_label(f"{title}, Row 2", exact=True).fill(word)
    # Another artwork is added meanwhile: what was typed is not lost.
    (tmp_path / "pennant.png").write_bytes(crest())
    page.set_input_files("#files", tmp_path / "pennant.png")
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.locator(".names")).to_contain_text("pennant.png")
    expect(page.get_by_label("Width, Row 2", exact=True)).to_have_value("89 mm")
    page.get_by_role("button", name="Save and check").click()
    expect(page.get_by_label("Location, Row 2", exact=True)).to_have_attribute(
        "aria-invalid", "true"
    )
    assert serious(page) == []
    page.get_by_role("button", name="Take “left chest”").click()
    expect(page.locator("#placed")).to_have_attribute("data-done", "yes")
    expect(page.locator("#placed")).to_contain_text("All of it can be placed")
    page.get_by_role("link", name="Pictures and proofs").click()
    page.locator(".looks a").click()
    # The crest is round, so as high as wide: 89 mm as the sheet says, in the garment's own mm.
    image = page.locator(".garment image")
    assert float(image.get_attribute("width")) == pytest.approx(89, abs=0.5)
    assert float(image.get_attribute("height")) == pytest.approx(89, abs=0.5)
    # ISO/IEC 7810: an ID-1 card is 85.60 mm wide; what it is held to gives the screen's scale.
    page.locator("#bank").wait_for()
    bar = page.locator("#bank").bounding_box()["width"]
    swatch = page.locator("#swatch").bounding_box()["width"]
    assert swatch / bar == pytest.approx((89 + 20) / 85.6, abs=0.02)
    address = page.get_by_role("link", name="Proof, A4").get_attribute("href")
    proof = page.request.get(address)
    assert proof.body().startswith(b"%PDF")
    assert serious(page) == []
    assert [each.id for each in read_sheet(workshop.orders / "regatta" / "sheet.csv").pieces] == [
        "2-1", "2-2"
    ]  # fmt: skip


# -- what asks for a look ----------------------------------------------------------------------


def test_what_the_press_would_ask_to_look_at_is_told_beforehand(ask, workshop):
    """On the platen of the shop's own press the pouch of the small hood lies under the head.

    That foam pads keep seams from under the head, and 10 to 13 in as usual on a chest: common
    practice, no source.
    """
    row = ("hoodie", "S", "black", "2", "full front", "oval.png", "7 in", "", "", "", "")
    tee = ("Crew tee", "M", "navy", "3", "left chest", "crest.png", "89 mm", "", "", "", "")
    made = make_order(workshop.orders, About(title="Hoods"), OrderTable(rows=(row, tee)))
    made.add_artwork("crest.png", crest())
    made.add_artwork("oval.png", crest(high=287))
    at = f"/orders/{made.name}"
    library.keep(replace(demo_rig(), name="press"))
    assert "2 pieces ask for a look: see Pictures" in ask(f"{at}/placed").text
    assert "2 pieces ask for a look: see Pictures" in ask(at).text
    hood, tee_shown = re.findall("<li class=.card.>.*?</p>(?:<ul.*?</ul>)?</li>",
                                 ask(f"{at}/looks").text, re.DOTALL)  # fmt: skip
    assert '<li class="caution">Under the head: pocket edge' in hood
    assert "usual here (full front, adult sizes) is 10 in to 13 in" in hood
    assert 'class="caution"' not in tee_shown


def test_a_width_is_hinted_in_the_shops_unit(ask, order):
    """25.4 mm to the inch (ISO 31-1): 89 mm are 3 1/2 in to an eighth."""
    at = f"/orders/{order.name}"
    assert 'placeholder="3 1/2 in"' in ask(at).text
    write_whole(settings_file(), b'units = "mm"\n')
    assert 'placeholder="89 mm"' in ask(at).text


# -- found again, removed, put back ------------------------------------------------------------


def test_an_order_is_found_by_customer_name_and_day(ask, workshop, order):
    rows = (
        ("Crew tee", "M", "navy", "1", "left chest", "x.png", "89 mm", "", "", "", "Robin Vole"),
    )
    other = make_order(
        workshop.orders,
        About(title="Spring relay", customer="Reed Quay School"),
        OrderTable(rows=rows),
    )
    other.save_about(other.about.model_copy(update={"made": "2025-04-09"}))

    def found(words):
        text = ask(f"/orders?q={words}").text
        return [each.name for each in (order, other) if f'href="/orders/{each.name}"' in text]

    assert found("reed+quay") == [other.name]
    assert found("2025-04") == [other.name]
    assert found("vole+spring") == [other.name]  # a word of the sheet and one of the title
    assert found("crew") == [order.name, other.name]
    assert found("vole+rowing") == []


def test_an_order_that_is_removed_can_be_put_back(ask, workshop, order):
    before = {each.name: each.read_bytes() for each in order.path.iterdir()}
    gone = ask(f"/orders/{order.name}/remove", form={})
    text = ask(gone.headers["location"]).text
    assert f"“{order.name}” is removed" in text
    assert f'href="/orders/{order.name}"' not in text
    assert ask(f"/orders/{order.name}").status == 400
    make_order(workshop.orders, About(title="Rowing, regatta"), OrderTable())  # of the same name
    back = re.search(r'action="(/orders/removed/[^"]+/back)"', text)[1]
    place = ask(back, form={}).headers["location"].removeprefix("/orders/")
    assert place == f"{order.name}-2"
    assert {each.name: each.read_bytes() for each in (workshop.orders / place).iterdir()} == before
    assert ask(back, form={}).status == 400  # once is enough
    assert ask(f"/orders/{place}/remove", form={}, right=Right.PRESS).status == 403


def test_artwork_is_removed_and_put_back(ask, order):
    gone = ask(f"/orders/{order.name}/artwork/remove", form={"file": "crest.png"})
    assert order.artwork == ()
    text = ask(gone.headers["location"].partition("#")[0]).text
    assert "There is no artwork yet" in text
    back = re.search(rf'action="(/orders/{order.name}/artwork/[^"]+/back)"', text)[1]
    ask(back, form={})
    assert order.artwork == ("crest.png",)
    for name in ("sheet.csv", "../../devices.json", "none.png"):
        assert ask(f"/orders/{order.name}/artwork/remove", form={"file": name}).status == 400
    assert order.sheet.is_file()


def test_an_order_at_the_press_is_not_removed(ask, served, order):
    link = served.app.state.press
    here, _there = multiprocessing.Pipe()
    link.attach(here)
    link.sheet = order.sheet
    assert "at the press" in ask(f"/orders/{order.name}/remove", form={}).text
    assert order.sheet.is_file()


@pytest.mark.parametrize(
    ("titles", "rows", "unit"),
    [
        (("Style", "Width"), [("tee", "89 mm"), ("tee", "9 cm"), ("tee", "3 in")], Unit.MM),
        (("Style", "Width", "Height 2"), [("tee", '3 1/2"', "4 in"), ("tee", "89 mm", "")],
         Unit.INCH),
        (("Style", "Width (mm)"), [("tee", "89")], Unit.MM),
        (("Style", "Platen", "Width"), [("tee", "400x500mm", "3 inches")], Unit.INCH),
        (("Style", "Width"), [("tee", "")], Unit.INCH),
    ],
)  # fmt: skip
def test_an_order_speaks_the_unit_that_it_is_written_in(tmp_path, titles, rows, unit):
    table = OrderTable(titles, tuple(rows))
    assert table.unit is unit
    (tmp_path / "sheet.csv").write_bytes(table.csv())
    assert _unit(tmp_path / "sheet.csv") is unit


def test_a_run_is_called_what_its_order_is_called(order, tmp_path):
    assert _title(order.sheet) == "Rowing, regatta"
    assert _title(tmp_path / "first-shirt.csv") == ""  # no order's folder
