"""A small order at the press, for tests of the station: three shirts, five imprints."""

import numpy as np
from PIL import Image

from chalkbeam.basics.spreadsheets import digest_of
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece, PressSettings
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.orders.times import Times
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.station.controller import StationController
from chalkbeam.station.frames import FrameCache
from chalkbeam.station.ready_imprint import ImprintPreparer
from tests.support.rigs import make_rig


def write_pennant(path):
    """Write a red pennant, 90 by 60 pixels on a transparent ground."""
    rows, columns = np.mgrid[:60, :90]
    picture = np.zeros((60, 90, 4), dtype=np.uint8)
    picture[np.abs(rows - 29.5) < (90 - columns) / 3] = (0xDD, 0x33, 0x33, 255)
    Image.fromarray(picture).save(path)


def crew(folder):
    """Return the pieces; their artwork is written to `folder`."""
    art = folder / "pennant.png"
    if not art.is_file():
        write_pennant(art)
    file = Art(ArtKind.FILE, art.name, art)
    press = PressSettings(time="10 s", dwell=10.0)

    def piece(row, size, *imprints, **more):
        return Piece(f"{row}-1", row, 1, 1, "crew_tee", size, "navy", imprints, **more)

    def imprint(row, number, location, **more):
        return Imprint(f"{row}-1/{number}", location, file, 90.0, press=press, **more)

    name = Imprint("4-1/1", "player-name", Art(ArtKind.NAME, "MARIT"))
    number = Imprint("4-1/2", "player-number", Art(ArtKind.NUMBER, "7"), follows="4-1/1")
    return [
        piece(2, "M", imprint(2, 1, "left-chest")),
        piece(3, "L", imprint(3, 1, "left-chest"), imprint(3, 2, "nape")),
        piece(4, "M", name, number, name="MARIT", number="7"),
    ]


def open_run(folder, rigs=None, store=None, pieces=None, **options):
    """Return a station at the beginning of the order, in the sheet's own order."""
    sheet = folder / "crew.csv"
    sheet.write_text("the tests read no sheet\n")
    planned = plan(pieces or crew(folder), Times(), fit_on_press, as_listed=True)
    store = store or Store(folder / "record.db")
    run = store.begin(planned, title="crew", sheet=sheet, digest=digest_of(sheet))
    return station_on(open_session(store, run), rigs, **options)


def station_on(session, rigs=None, **options):
    """Return a station with a session, on the usual rig unless others are given."""
    preparer = ImprintPreparer(rigs or [make_rig()])
    return StationController(session, preparer, FrameCache(), **options)
