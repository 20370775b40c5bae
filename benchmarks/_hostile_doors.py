"""The doors by which files and words come in: a sound input each, and what is asked of it."""

from __future__ import annotations

import gzip
import io
import json
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cache, partial
from pathlib import Path
from random import Random

import openpyxl
import pillow_heif
from PIL import Image, ImageDraw
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from benchmarks._hostile_mutators import (
    mutated_bytes,
    mutated_json,
    mutated_text,
    mutated_words,
    mutated_zip,
)
from calibration.rig import file as rig_file
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece
from chalkbeam.placement.shift import Shift
from chalkbeam.record.events import Step
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store, journal_of
from overlay.text.typeface import BUNDLED_FONT

PLACE = ("place", "--style", "crew-tee", "--size", "M", "--location", "left-chest", "--json")
SIZED = (*PLACE, "--width", "3in")
TICKS = ("ticks", "--style", "crew-tee", "--sizes", "M", "--location", "left-chest", "--platen",
         "16x20in", "--json")  # fmt: skip
MEASURED = {"measured.csv": lambda: b"cross,x,y\n1,-160,-211\n2,1,-213\n3,165,-212\n4,-162,2\n"
            b"5,1,1\n6,164,2\n7,-163,216\n8,0,215\n9,163,216\n"}  # fmt: skip
RIG = Path(__file__).parents[1] / "tests" / "data" / "demo-rig.json"
PIECES = 12

Answer = Callable[[Path, str, str], str]
"""Given the case's folder, and what was printed as output and as complaint: what is wrong."""


@dataclass(frozen=True)
class Door:
    """A way in.

    Attributes
    ----------
    name : str
    commands : tuple of tuple of str
        Of which one is taken; ``{file}`` is the spoiled input, ``{folder}`` the case's.
    inputs : callable
        Returns sound inputs by file name, made once.
    spoil : callable
        Returns one of them spoiled.
    beside : mapping of str to callable
        Sound files that lie beside it.
    judge : callable
        What is wrong with an answer that was given; empty for nothing.
    """

    name: str
    commands: tuple[tuple[str, ...], ...]
    inputs: Callable[[], Mapping[str, bytes]]
    spoil: Callable[[bytes, Random], bytes]
    beside: Mapping[str, Callable[[], bytes]] = field(default_factory=dict)
    judge: Answer = lambda folder, out, err: ""


def picture(kind: str, size: tuple[int, int] = (120, 90)) -> bytes:
    """Return a small picture with a shape on it, and what a camera says of itself."""
    image = Image.new("RGB", size, "white" if size[0] < 640 else "grey")
    draw = ImageDraw.Draw(image)
    draw.ellipse((size[0] * 0.2, size[1] * 0.2, size[0] * 0.7, size[1] * 0.8), fill="navy")
    exif = Image.Exif()
    exif[0x010F], exif[0x0112] = "Maker", 6
    exif.get_ifd(0x8769).update({0x920A: 4.2, 0xA405: 26})
    buffer = io.BytesIO()
    if kind == "HEIF":
        pillow_heif.register_heif_opener()
    more = {} if kind in {"GIF", "BMP"} else {"exif": exif}
    image.save(buffer, kind, **more)
    return buffer.getvalue()


def pictures(size: tuple[int, int] = (120, 90)) -> dict[str, bytes]:
    """Return a picture of every kind that is read."""
    kinds = ("PNG", "JPEG", "TIFF", "WEBP", "GIF", "BMP", "HEIF")
    return {f"art.{kind.lower()}": picture(kind, size) for kind in kinds}


def drawings() -> dict[str, bytes]:
    """Return drawings with shapes, text, a filter and a picture."""
    begin = (
        '<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" '
        'width="80mm" height="60mm" viewBox="0 0 80 60">'
    )
    shapes = (
        '<defs><filter id="f"><feGaussianBlur stdDeviation="1"/></filter></defs>'
        '<g transform="rotate(5)" filter="url(#f)"><path d="M10 10h50v30z" fill="#123456"/></g>'
    )
    text = '<text x="9" y="50" font-family="DejaVu Sans" font-size="9">HALLO</text>'
    link = '<image href="crest.png" x="50" y="9" width="20" height="20"/>'
    whole = f"{begin}{shapes}{text}{link}</svg>".encode()
    return {
        "art.svg": f"{begin}{shapes}</svg>".encode(),
        "whole.svg": whole,
        "packed.svgz": gzip.compress(whole),
    }


def pages() -> dict[str, bytes]:
    """Return a PDF, its contents packed and plain."""
    found = {}
    for compression in (0, 1):
        buffer = io.BytesIO()
        canvas = Canvas(buffer, pagesize=(80 * mm, 60 * mm), pageCompression=compression)
        canvas.rect(10 * mm, 10 * mm, 50 * mm, 30 * mm, fill=1)
        canvas.drawString(20, 20, "HALLO")
        canvas.setCropBox((10, 10, 200, 150))
        canvas.showPage()
        canvas.save()
        found[f"art-{compression}.pdf"] = buffer.getvalue()
    return found


HEADER = "Style,Size,Fabric colour,Quantity,Location,Artwork,Width,Name,Temperature,Time"
ROWS = (
    "Crew tee,M,navy,2,left chest,crest.png,80 mm,,150 °C,12 s",
    "Zip hood,XL,#102030,1,full back,crest.png,9 1/2 in,ØYSTEIN,300 F,15 s",
)


def sheets() -> dict[str, bytes]:
    """Return a run sheet as CSV."""
    text = "\n".join([HEADER, *ROWS, ""])
    return {"order.csv": text.encode(), "order2.csv": text.replace(",", ";").encode("utf-16")}


def workbook(rows: list[list[str]], merged: str = "") -> bytes:
    """Return rows as XLSX, cells merged over them."""
    book = openpyxl.Workbook()
    for row in rows:
        book.active.append([float(c) if c.isdigit() else c for c in row])
    if merged:
        book.active.merge_cells(merged)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def workbooks() -> dict[str, bytes]:
    """Return a run sheet as XLSX."""
    return {"order.xlsx": workbook([row.split(",") for row in (HEADER, *ROWS)], "A2:A3")}


CHART = "Size,Age,Half chest (in),Body length (in)\nS,adult,18,28\nM,adult,20,29\nL,adult,22,30\n"


def charts() -> dict[str, bytes]:
    """Return a chart of sizes."""
    rows = [row.split(",") for row in CHART.splitlines()]
    return {"chart.csv": CHART.encode(), "chart.xlsx": workbook(rows)}


def presets() -> dict[str, bytes]:
    """Return the program's own location presets."""
    from chalkbeam.locations.library import DATA

    return {path.name: path.read_bytes() for path in sorted(DATA.glob("*.toml"))}


def record(path: Path) -> None:
    """Write a record of a run of twelve pieces, finished."""
    art = Art(ArtKind.FILE, "crest.svg")
    order = [
        Piece(f"{row}-1", row, 1, 1, "tee", "M", "navy", (Imprint(f"{row}-1/1", "nape", art),))
        for row in range(2, PIECES + 2)
    ]  # fmt: skip
    with Store(path) as store:
        run = store.begin(plan(order), title="t", sheet=Path("t.csv"), digest="d")
        session = open_session(store, run, operator="Marit")
        while session.progress.stop is not None:
            session.step(Step.LAY)
            session.nudge(Shift(0.1, 0.2))
            session.press({"x": 0.0, "y": 0.0, "angle": 0.0})


@cache
def records() -> dict[str, bytes]:
    """Return a record: its database and its journal."""
    import tempfile

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "record.db"
        record(path)
        return {file.name: file.read_bytes() for file in (path, journal_of(path))}


def journals() -> dict[str, bytes]:
    """Return a record's journal alone."""
    return {"record.db.journal": records()["record.db.journal"]}


RECORD: dict[str, Callable[[], bytes]] = {
    "record.db": lambda: records()["record.db"],
    "record.db.journal": lambda: records()["record.db.journal"],
}


def judge_report(folder: Path, out: str, err: str) -> str:
    """Say what is untrue in a report of the record."""
    del folder, err
    told = json.loads(out)
    truth = {"pieces": PIECES, "finished": PIECES, "pressed": PIECES, "spoiled": 0, "open": 0}
    wrong = {key: told[key] for key, value in truth.items() if told[key] != value}
    return f"report says {wrong}" if wrong else ""


def judge_rescue(folder: Path, out: str, err: str) -> str:
    """Say what is untrue in what is saved, or in what is said of it."""
    del err
    sound = records()["record.db.journal"].splitlines()
    known = {json.loads(text[17:])["number"]: text for text in sound}
    made = (folder / "new.db.journal").read_bytes().splitlines()
    saved = {json.loads(text[17:])["number"]: text for text in made if b'"lost"' not in text}
    alone = not (folder / "record.db").exists()
    if any(known.get(n) != text for n, text in saved.items() if b'"rescued"' not in text):
        return "a spoiled act was saved as good"
    words = out.split(";")[1]
    lost = int(next(word for word in words.split() if word.isdigit()))
    truth = len(known) - sum(n in saved for n in known)
    if not alone and truth:
        return f"{truth} acts lost that one of the two files had"
    right = lost <= truth if "at least" in words else lost == truth
    return "" if right else f"{words} where {truth} are lost"


def judge_json(folder: Path, out: str, err: str) -> str:
    """Say which number of an answer cannot be."""
    del folder, err

    def no(word: str) -> float:
        raise ValueError(f"{word} in JSON")

    try:
        answer = json.loads(out, parse_constant=no)
    except ValueError as error:
        return str(error)
    pending, worst = [answer], 0.0
    while pending:
        each = pending.pop()
        if isinstance(each, dict):
            pending += each.values()
        elif isinstance(each, list):
            pending += each
        elif isinstance(each, int | float):
            worst = max(worst, abs(each))
    return f"{worst:g} in an answer" if worst > 1e6 else ""


def spoil_rig(whole: bytes, chance: Random) -> bytes:
    """Return a rig with something spoiled; mostly with a check number that fits."""
    if chance.random() < 0.2:
        return mutated_bytes(whole, chance)
    content = json.loads(whole)
    content = content | {"rig": mutated_json(content["rig"], chance)}
    with suppress(TypeError, ValueError):
        content["calibration_id"] = rig_file._check_number(content["rig"])
    return json.dumps(content).encode()


ART = {"crest.png": partial(picture, "PNG")}


def judge_words(folder: Path, out: str, err: str) -> str:
    """Judge an answer by numbers where the command line still asks for JSON."""
    command = json.loads((folder / "words.json").read_bytes())
    asked = command[0] if isinstance(command[0], list) else command  # number 0: all of them
    options = asked[: asked.index("--")] if "--" in asked else asked
    return judge_json(folder, out, err) if "--json" in options else ""


DOORS = (
    Door("pictures", ((*SIZED, "--art", "{file}"),), pictures, mutated_bytes, judge=judge_json),
    Door("drawings", ((*SIZED, "--art", "{file}"), (*PLACE, "--art", "{file}")), drawings,
         mutated_text, ART, judge_json),
    Door("pages", ((*SIZED, "--art", "{file}"), (*PLACE, "--art", "{file}")), pages,
         mutated_text, judge=judge_json),
    Door("fonts", ((*SIZED, "--text", "Tern 7", "--font", "{file}"),),
         lambda: {"font.ttf": BUNDLED_FONT.read_bytes()}, mutated_bytes, judge=judge_json),
    Door("photos", (("fabrics", "--photo", "{file}", "--patch", "10,10,20,20"),
                    ("calibrate", "{file}", "--platen", "16x20in", "--size", "1920x1080",
                     "--out", "{folder}/rig-out.json")),
         partial(pictures, (660, 500)), mutated_bytes),
    Door("sheets", (("sheet", "check", "{file}"), ("sheet", "plan", "{file}")), sheets,
         mutated_text, ART),
    Door("workbooks", (("sheet", "check", "{file}"),), workbooks, mutated_zip, ART),
    Door("charts", (("garment", "import", "{file}", "--style", "crew-tee", "--json"),), charts,
         lambda data, chance: (mutated_zip if data[:2] == b"PK" else mutated_text)(data, chance)),
    Door("rigs", (("aim", "10mm", "-20mm", "--rig", "{file}", "--json"),
                  ("rig", "show", "{file}", "--json")),
         lambda: {"rig.json": RIG.read_bytes()}, spoil_rig, judge=judge_json),
    Door("presets", (("location", "check", "{file}"),), presets, mutated_text),
    Door("platens", ((*SIZED, "--text", "HI", "--platen", "own"),),
         lambda: {"data/chalkbeam/platens.toml":
                  b"[platen.own]\nwidth = '16 in'\ndepth = '20 in'\n[platen.own.pad]\n"
                  b"width = '10 in'\ndepth = '10 in'\nheight = '0.5 in'\n"},
         mutated_text, judge=judge_json),
    Door("cloths", (("fabrics", "our navy", "--json"),),
         lambda: {"data/chalkbeam/fabrics.toml":
                  b'[[fabric]]\nname = "our navy"\ncolour = "#102040"\nalso = ["nv"]\n'},
         mutated_text, judge=judge_json),
    Door("points", (("aim", "--points", "{file}", "--rig", str(RIG), "--json"),),
         lambda: {"points.csv": b"x_mm,y_mm,height_mm\n10,20,0\n-30.5,1e1,2\n",
                  "plain.csv": b"10,20\n-30.5,40\n"}, mutated_text, judge=judge_json),
    Door("lasers", ((*TICKS, "--lasers", "{file}", "--out", "{folder}/ticks.pdf"),),
         lambda: {"lasers.toml":
                  b"[[laser]]\nline = 'away'\nmoves = ['turn']\n"
                  b"place = ['120 mm', '0 mm', '36 in']\n"
                  b"[[laser]]\nline = 'across'\nmoves = ['shift']\ntilt = 12\n"
                  b"light_from = 'back'\n"},
         mutated_text, judge=judge_json),
    Door("scanners", (("scanner", "fit", "{folder}/measured.csv", "--scanner", "{file}",
                       "--platen", "16x20in", "--out", "{folder}/fit.toml", "--json"),),
         lambda: {"scanner.toml":
                  b"[scanner]\nclass_at_rest = '2'\nkpps = 20\nkpps_angle = 8\nfull_angle = 40\n"
                  b"place = ['0 mm', '0 mm', '1150 mm']\n"}, mutated_text, MEASURED, judge_json),
    Door("reports", (("report", "--record", "{folder}/record.db", "--json"),), records,
         mutated_bytes, RECORD, judge_report),
    Door("rescues", (("sheet", "rescue", "{folder}/record.db", "--out", "{folder}/new.db"),),
         records, mutated_bytes, RECORD, judge_rescue),
    Door("journals", (("sheet", "rescue", "{folder}/record.db", "--out", "{folder}/new.db"),),
         journals, mutated_bytes, judge=judge_rescue),
    Door("words", (("words",),), lambda: {"words.json": json.dumps(WORDS).encode()},
         mutated_words, judge=judge_words),
)  # fmt: skip

WORDS = (
    [*PLACE, "--text", "HI", "--height", "2in", "--turn", "3", "--sheet-margin", "5mm"],
    [*PLACE, "--text", "HALLO", "--width", "4 1/2 in", "--arc", "90mm", "--platen", "16x20in"],
    ["garment", "show", "--style", "crew tee", "--size", "M", "--measured", "half_chest=20.5in",
     "--json"],
    ["aim", "10mm", "20mm", "--height", "2mm", "--rig", str(RIG), "--json"],
    ["location", "show", "left-chest", "--json"],
    ["fabrics", "navy", "#123456", "--json"],
)  # fmt: skip
"""Command lines of which a word is replaced."""
