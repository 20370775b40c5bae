"""Every page of the shop's page, each in a state that shows what it has, for looking at them all.

A stop names the door it stands for; what has to be so beforehand is made by its `before`.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from calibration.rig import library
from calibration.rig.file import save
from chalkbeam.orders.sheet import read_sheet
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.placement.shift import Shift
from chalkbeam.presses import claims
from chalkbeam.presses.address import read_address
from chalkbeam.presses.claims import Wish
from chalkbeam.presses.engine import Queue
from chalkbeam.presses.places import settings_file
from chalkbeam.record.events import new_id
from chalkbeam.record.session import open_session
from chalkbeam.record.store import Store
from chalkbeam.web.orders.folders import About, make_order
from chalkbeam.web.orders.table import OrderTable
from chalkbeam.web.setup.desk import Sum
from chalkbeam.web.setup.guide import GuidePhoto, Said, SetupStep
from tests.support.crew_order import open_run
from tests.support.light import Light
from tests.support.rigs import demo_rig
from tests.support.shared_order import enter, share
from tests.support.until import until

FILES = {
    "/press/state", "/press/events", "/press/art/{name}", "/setup/photos/{name}", "/static/{name}",
    "/orders/{name}/placed", "/orders/{name}/looks", "/orders/{name}/report", "/board/events",
}  # fmt: skip
"""Doors that answer with no whole page: values, pictures, parts that a page fetches, a way on."""

ENDINGS = (".png", ".jpg", ".svg", ".pdf", ".csv")


@dataclass
class Tour:
    """A shop with something of everything in it.

    Attributes
    ----------
    ask : callable
        Sends a request as a device that may do everything.
    state
        What the parts of the page share.
    run : str
        A run that has a report.
    light : Light or None
        The light's end, once an order is at the press.
    shared : str
        A run of the queue, once there is one.
    """

    ask: Callable[..., Any]
    state: Any
    workshop: Any
    folder: Path
    run: str = ""
    light: Light | None = None
    look: str = field(default="")
    shared: str = ""

    def furnish(self) -> None:
        """Fill the shop."""
        rig = demo_rig()
        save(rig, library.place(rig.name))
        rows = (
            ("Crew tee", "M", "navy", "2", "left chest", "crest.png", "89 mm", "", "", "", ""),
            ("Zip hood", "L", "black", "1", "full back", "crest.png", "250 mm", "", "", "", ""),
        )
        made = make_order(
            self.workshop.orders,
            About(title="Rowing", customer="Tern Harbour Rowing Club"),
            OrderTable(rows=rows),
        )
        made.add_artwork("crest.png", _crest())
        odd = (("Crew tea", "XM", "navy", "2", "chest", "crust.png", "89", "", "", "", ""),)
        make_order(self.workshop.orders, About(title="Faulty"), OrderTable(rows=odd))
        sheet = read_sheet(made.sheet)
        from chalkbeam.orders.order_of_work import plan

        with Store(self.workshop.record) as store:
            planned = plan(sheet.pieces, None, fit_on_press)
            begun = store.begin(planned, title="Rowing", sheet=sheet.path, digest=sheet.digest)
            session = open_session(store, begun)
            session.nudge(Shift(1.0, 0.0, 0.0))
            session.press()
            session.spoil("scorched", replaced=True)
            session.nudge(Shift(2.0, 1.0, 0.0))
            session.press()
        self.run = begun.id

    def guide(self, step: SetupStep, **values: object) -> None:
        """Have the set-up come as far as a step."""
        rig = demo_rig()
        usual = {
            "platen": "16x20in", "platen_mm": (406.4, 508.0), "display": 2, "size": (1920, 1080),
            "rig": rig.name, "throw": 1.2,
        }  # fmt: skip
        self.state.setup.file.change(lambda now: now.at(step, **usual | values))

    def at_press(self, *keys: str) -> None:
        """Have an order at the press, and some keys typed there."""
        if self.light is None:
            self.light = Light(open_run(self.folder))
            self.state.press.attach(self.light.work())
            until(lambda: self.state.press.state()["ready"])
        for key in keys:
            time.sleep(0.2)  # sooner it would be a pedal's bounce
            self.light.key(key)
        number = self.light.taps.number(self.light.station)
        until(lambda: self.state.press.state()["number"] == number)

    def share(self) -> None:
        """Have a queue, with an order and two presses at it."""
        address = f"sqlite:///{self.folder / 'queue.db'}"
        settings_file().parent.mkdir(parents=True, exist_ok=True)
        settings_file().write_text(f'record = "{address}"\n')
        with Queue(read_address(address)) as queue:
            self.shared, _ = share(queue, title="Rowing")
            left = enter(queue, "Tern", machine="Harbour")
            enter(queue, "Harbour", machine="Tern")
            queue.transact(lambda c: claims.claim(c, left, new_id(), self.shared, Wish()))

    def end(self) -> None:
        """Let the light go."""
        if self.light is not None:
            self.light.end()


def _crest() -> bytes:
    from tests.chalkbeam.web.test_orders import crest

    return crest()


@dataclass(frozen=True)
class Stop:
    """A page that is looked at.

    Attributes
    ----------
    name : str
    door : str
        Path of the door that it stands for.
    address : str or callable
        Where it is; a function of the tour where that is only known then.
    before : callable
        Makes what it shows.
    """

    name: str
    door: str
    address: str | Callable[[Tour], str]
    before: Callable[[Tour], None] = lambda tour: None

    def arrive(self, tour: Tour) -> str:
        """Prepare it; return its address."""
        self.before(tour)
        return self.address if isinstance(self.address, str) else self.address(tour)


def _look(tour: Tour) -> str:
    import re

    text = tour.ask("/orders/rowing/looks").text
    return re.search(r'href="(/orders/rowing/look/[^"]+)"', text)[1]


def _photos(tour: Tour) -> None:
    good = GuidePhoto(name="photo-1.jpg", digest="1", said=Said.GOOD, towards=(0.0, -1.0, 1.0))
    bad = GuidePhoto(
        name="photo-2.heic", digest="2", said=Said.BAD,
        sentence="The front left card is cut off: step back so that the whole of it is in sight.",
    )  # fmt: skip
    tour.guide(SetupStep.PHOTOS, photos=(good, bad), taken=2)


def _solving(tour: Tour) -> None:
    tour.guide(SetupStep.SOLVE)
    tour.state.setup._sum = Sum("solving", time.monotonic() - 7.0)


def _solved(tour: Tour) -> None:
    tour.state.setup._sum = None
    tour.guide(SetupStep.VERDICT)


def _step(step: SetupStep, before: Callable[[Tour], None] | None = None) -> Stop:
    return Stop(
        f"set up, {step.value.replace('_', ' ')}", "/setup/{step}", f"/setup/{step.value}",
        before or (lambda tour: tour.guide(step)),
    )  # fmt: skip


STOPS = (
    Stop("pairing", "/pair", "/pair"),
    Stop("first page, nothing set up", "/", "/", lambda tour: library.place("demo").unlink(True)),
    Stop("first page", "/", "/", Tour.furnish),
    Stop("nothing there", "/", "/nowhere"),
    Stop("devices", "/devices", "/devices"),
    Stop("press, no order", "/press", "/press"),
    Stop("orders", "/orders", "/orders"),
    Stop("new order", "/orders/new", "/orders/new"),
    Stop("an order", "/orders/{name}", "/orders/rowing"),
    Stop("an order with faults", "/orders/{name}", "/orders/faulty"),
    Stop("plan", "/orders/{name}/plan", "/orders/rowing/plan"),
    Stop("pictures", "/orders/{name}/pictures", "/orders/rowing/pictures"),
    Stop("a look", "/orders/{name}/look/{key}", _look),
    Stop("reports", "/reports", "/reports"),
    Stop("a report", "/reports/{run}", lambda tour: f"/reports/{tour.run[:12]}"),
    Stop("garments", "/garments", "/garments"),
    Stop("a chart to read", "/garments/chart", "/garments/chart"),
    Stop("a garment", "/garments/{style}", "/garments/crew_tee"),
    Stop("locations", "/locations", "/locations"),
    Stop("a location drawn", "/locations/new", "/locations/new"),
    Stop("a location", "/locations/{name}", "/locations/left-chest"),
    Stop("transfers", "/transfers", "/transfers"),
    Stop("fabrics", "/fabrics", "/fabrics"),
    Stop("no board", "/board", "/board"),
    Stop("rigs", "/rigs", "/rigs"),
    Stop("set up", "/setup", "/setup"),
    Stop("eye", "/setup/eye", "/setup/eye"),
    _step(SetupStep.PLATEN),
    _step(SetupStep.PROJECTOR),
    _step(SetupStep.CARDS),
    _step(SetupStep.PHOTOS, _photos),
    _step(SetupStep.BY_HAND),
    _step(SetupStep.SOLVE, _solving),
    _step(SetupStep.VERDICT, _solved),
    _step(SetupStep.CROSSES),
    _step(SetupStep.RULER),
    _step(SetupStep.DONE),
    Stop("press, load", "/press", "/press", Tour.at_press),
    Stop("press, lay", "/press", "/press", lambda tour: tour.at_press("space")),
    Stop("press, spoiled?", "/press", "/press", lambda tour: tour.at_press("x")),
    Stop("press, closed", "/press", "/press", lambda tour: tour.at_press("escape", "space")),
    Stop("board", "/board", "/board", Tour.share),
    Stop("take over", "/board/{run}/over", lambda tour: f"/board/{tour.shared}/over?press=Tern"),
)
"""In this order: what one prepares is there for those after it."""
