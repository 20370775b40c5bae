"""The whole demo without hardware: sample photos to a rig, an order to lines on cloth.

Everything up to the projector's frames is the program's own path. Only what the light then
falls on, and the truth it is measured against, come from the virtual rig.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from importlib import resources
from pathlib import Path

import cv2
import numpy as np
import shapely
from numpy.typing import NDArray

from calibration.files import write_whole
from calibration.geometry import PlatenFace, Points, resample
from calibration.model.projector import ProjectorMap
from calibration.refusal import Refusal, Remedy, RemedyKind
from calibration.rig.file import Rig, save
from calibration.rig.from_photos import CalibrationPhoto
from calibration.rig.from_photos import calibrate as calibrate_photos
from calibration.rig.report import write_report
from chalkbeam.artwork import load_artwork
from chalkbeam.artwork.ink_measures import measured_ink
from chalkbeam.basics.units import Unit
from chalkbeam.garments import garment
from chalkbeam.garments.fabrics import Fabric, find_fabric
from chalkbeam.light.marks import lay_marks, load_marks
from chalkbeam.locations import location
from chalkbeam.orders.order_of_work import plan
from chalkbeam.orders.pieces import Art, ArtKind, Imprint, Piece
from chalkbeam.orders.shop import fit_on_press
from chalkbeam.placement import Placement, place
from chalkbeam.placement.loading import Loading, load, loading_words
from chalkbeam.placement.platens import Pad, Platen
from chalkbeam.placement.platens import platen as find_platen
from chalkbeam.simulator import tern_harbour
from chalkbeam.simulator.demo_askew import OFF, askew
from chalkbeam.simulator.rig import Cloth, VirtualRig, drape, paint
from chalkbeam.simulator.rig.cloth import landing
from chalkbeam.simulator.rig.garment_picture import dyed
from chalkbeam.simulator.rig.stage import SAMPLE_PHOTOS, sample_rig, show
from overlay.colour.visibility import palette_for
from overlay.draw.frame import Frame, render
from overlay.marks import Crosshair, Mark, Stroke

SAMPLES = Path(__file__).parents[3] / "sample_images"
"""Where a source folder keeps its sample photos."""

PLATEN = "16x20in"
HEIGHTS = (0.0, 4.0, 10.0, 20.0)
"""Heights at which the demo measures, mm."""


@dataclass(frozen=True)
class DemoImprint:
    """One imprint of the regatta order.

    Attributes
    ----------
    name : str
        Of its files.
    style, size, cloth : str
        The garment and its colour.
    where, art : str
        Location, and file of the artwork.
    width : float
        Of the ink, mm.
    pad : Pad or None
        A pad on the platen under it.
    """

    name: str
    style: str
    size: str
    cloth: str
    where: str
    art: str
    width: float
    pad: Pad | None = None


ORDER = (
    DemoImprint("1-tee-left-chest", "crew_tee", "M", "white", "left-chest", "crest.svg", 90.0),
    DemoImprint(
        "2-tee-full-back", "crew_tee", "XL", "navy",
        "full-back", "regatta-light.svg", 279.4,
    ),
    DemoImprint(
        "3-hood-upper-back", "pullover_hood", "L", "heather grey", "upper-back", "regatta.svg",
        260.0,
    ),
    DemoImprint(
        "4-zip-hood-on-pad", "zip_hood", "L", "red", "left-chest", "crest.svg", 90.0,
        Pad(PlatenFace(152.4, 152.4, 15.0), 12.0),
    ),
    DemoImprint("5-youth-left-chest", "crew_tee", "YL", "navy", "left-chest", "crest.svg", 70.0),
)  # fmt: skip
"""A few pieces of Tern Harbour Rowing Club's order; the club is invented."""

LAID_ASKEW = DemoImprint(
    "6-askew", "crew_tee", "L", "navy", "full-front", "regatta-light.svg", 240.0
)
"""The piece that a camera at the press sees laid askew."""


@dataclass(frozen=True, eq=False)
class Lit:
    """One imprint from rules to light."""

    piece: DemoImprint
    placement: Placement
    loading: Loading
    cloth: Fabric
    load: tuple[Mark, ...]
    lay: tuple[Mark, ...]


@dataclass(frozen=True)
class Miss:
    """How far light lands from where it is meant, mm."""

    rms: float
    worst: float

    @classmethod
    def of(cls, off: Points) -> Miss:
        """Return the root mean square and the largest length of vectors, shape (N, 2)."""
        far = np.hypot(*np.asarray(off).T)
        return cls(float(np.sqrt(np.mean(far**2))), float(far.max()))


def samples(folder: Path | None = None) -> Path:
    """Return the folder of sample photos.

    Raises
    ------
    Refusal
        If it is not there: an installed program does not carry it.
    """
    found = folder or SAMPLES
    if not (found / SAMPLE_PHOTOS[0]).is_file():
        raise Refusal(
            f"The sample photos are not in {found}: run the demo from Chalkbeam's source folder, "
            "or ",
            Remedy(RemedyKind.SAMPLES, "name their folder"),
            ".",
        )
    return found


def calibrate(folder: Path, out: Path) -> Rig:
    """Calibrate from the sample photos; write rig file and report.

    Raises
    ------
    Refusal
        If a photo cannot be used, the result is not to be trusted or cannot be written.
    """
    face = find_platen(PLATEN).face
    truth = sample_rig()
    sample_photos = [
        CalibrationPhoto(folder / name, planned.spacer)
        for name, planned in zip(SAMPLE_PHOTOS, truth.photos, strict=True)
    ]
    done = calibrate_photos(sample_photos, face, truth.projector.view.size)
    rig = Rig.of(done.solution, "Tern Harbour press", face)
    write_report(out / "report.png", rig, done.photos, done.solution)
    save(rig, out / "rig.json")
    return rig


def light_up(piece: DemoImprint) -> Lit:
    """Place one piece's artwork and turn it into marks, by the program's own path."""
    article = garment(piece.style, piece.size)
    with resources.as_file(resources.files(tern_harbour) / piece.art) as file:
        artwork = load_artwork(file, width=piece.width, sheet_margin=8.0)
    placement = place(article, location(piece.where), artwork)
    loading = load(placement, find_platen(PLATEN).with_pad(piece.pad))
    return Lit(
        piece,
        placement,
        loading,
        find_fabric(piece.cloth),
        load_marks(placement, loading, unit=Unit.INCH),
        lay_marks(placement, loading, unit=Unit.INCH),
    )


def words(lit: Lit) -> str:
    """Say in a sentence where a piece's artwork goes."""
    where = lit.placement.location.title
    how = loading_words(lit.placement, lit.loading).say(Unit.INCH)
    label = lit.placement.garment.label
    return f"{lit.cloth.name} {label[0].lower()}{label[1:]}, {where}: {how}"


def lay_cloth(lit: Lit, density: float = 2.5) -> Cloth:
    """Lay the piece's garment on the virtual platen as the loading says."""
    article = lit.placement.garment
    mottle = 0.025 if sum(lit.cloth.colour) > 600 else 0.10
    layers = 1 if lit.loading.threaded else 2
    return drape(
        paint(lit.placement.face, dyed(lit.cloth.colour, mottle), article.thickness, density),
        lit.loading.platen_from_garment,
        lit.loading.platen.face,
        thickness=article.thickness,
        support=(layers - 1) * article.thickness,
        pad=lit.loading.platen.pad,
        seed=len(lit.piece.name),
    )


def over_platen(rig: VirtualRig, found: ProjectorMap, height: float) -> Miss:
    """Return how far light lands from its target over the whole platen: truth against the rig."""
    face = rig.face
    x = np.linspace(-face.width / 2, face.width / 2, 17)
    y = np.linspace(-face.depth / 2, face.depth / 2, 21)
    points = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    pixels = found.projector_from_platen(points, height)
    return Miss.of(rig.platen_from_projector(pixels, height) - points)


def on_cloth(
    rig: VirtualRig,
    found: ProjectorMap,
    cloth: Cloth,
    marks: Sequence[Mark],
    platen: Platen,
    flat: bool = False,
) -> Miss:
    """Return how far lines land from where they are meant on the true, wrinkled cloth.

    Lines count where the cloth lies under pressure, and not within 8 mm of that area's edge,
    where it bends down. With `flat` they are lit as if the cloth had no height, as a map of
    the bare platen would.
    """
    pressed = shapely.Polygon(platen.pressed()).buffer(-8.0)
    wanted, pixels = [], []
    for points, height in _points(marks):
        inside = points[shapely.contains_xy(pressed, points)]
        wanted.append(inside)
        pixels.append(found.projector_from_platen(inside, 0.0 if flat else height))
    landed = landing(rig.projector.view, cloth, np.vstack(pixels))
    return Miss.of(landed[:, :2] - np.vstack(wanted))


def _points(marks: Sequence[Mark]) -> Iterator[tuple[Points, float]]:
    """Yield points of lines and crosses with their heights."""
    for mark in marks:
        if isinstance(mark, Stroke):
            yield resample(mark.points, 4.0, mark.closed), mark.height
        elif isinstance(mark, Crosshair):
            yield np.array([mark.centre]), mark.height


def frames(lit: Lit, found: ProjectorMap) -> dict[str, Frame]:
    """Return the projector's frames of a piece by step."""
    palette = palette_for(lit.cloth.colour)
    return {
        "load": render(lit.load, found, palette),
        "lay": render(lit.lay, found, palette),
    }


def write_picture(path: Path, picture: NDArray[np.uint8]) -> None:
    """Write a PNG whole or not at all."""
    fine, coded = cv2.imencode(".png", picture)
    if not fine:
        raise ValueError(f"OpenCV could not code {path.name}")
    write_whole(path, coded.tobytes())


def view(rig: VirtualRig, lit: Lit, cloth: Cloth, frame: Frame) -> NDArray[np.uint8]:
    """Return what a bystander sees while the projector shows a frame on the piece."""
    return show(rig, lit.loading.platen, cloth, frame)


Say = Callable[[str], None]


def run(out: Path, say: Say, folder: Path | None = None) -> tuple[Rig, list[Lit]]:
    """Run the demo: write its rig file and pictures into `out`, tell each step.

    Raises
    ------
    Refusal
        If the sample photos are missing or a file cannot be written.
    """
    source = samples(folder)
    truth = sample_rig()
    out.mkdir(parents=True, exist_ok=True)
    say(f"1. Calibrate from {len(SAMPLE_PHOTOS)} photos in {source}")
    rig = calibrate(source, out)
    for photo in rig.photos:
        on = f"on a board of {photo.raised:g} mm" if photo.raised else "on the bare platen"
        say(
            f"   {photo.name}: {len(photo.cards)} corners of cards {on}, "
            f"{len(photo.pattern)} of the projected pattern"
        )
    say(f"   wrote {out / 'rig.json'} and {out / 'report.png'}")
    say("   The photos come from a virtual rig, so the truth is known. Over the whole platen light")
    say("   lands off its target by what follows, most of it from cards laid by hand:")
    for height in HEIGHTS:
        miss = over_platen(truth, rig.projector, height)
        say(f"   {miss.rms:5.2f} mm RMS, {miss.worst:4.2f} mm at worst, at height {height:g} mm")
    say("2. Place the regatta order's artwork and light it; each picture shows the virtual press")
    lits = [light_up(piece) for piece in ORDER]
    with ThreadPoolExecutor(2) as pool:
        for lines in pool.map(partial(_exhibit, out, truth, rig), lits):
            for line in lines:
                say(line)
    say("3. A camera at the press: a shirt laid askew, and its transfer beside its place")
    for line in _askew(out, truth, rig, light_up(LAID_ASKEW)):
        say(line)
    say(f"The pictures are in {out}.")
    return rig, lits


def _exhibit(out: Path, truth: VirtualRig, rig: Rig, lit: Lit) -> list[str]:
    """Write the frames and views of one piece; return what to say of it."""
    cloth = lay_cloth(lit)
    for step, frame in frames(lit, rig.projector).items():
        write_picture(out / f"{lit.piece.name}-{step}-frame.png", frame)
        write_picture(out / f"{lit.piece.name}-{step}.png", view(truth, lit, cloth, frame))
    plate = lit.loading.platen
    true = on_cloth(truth, rig.projector, cloth, lit.lay, plate)
    flat = on_cloth(truth, rig.projector, cloth, lit.lay, plate, flat=True)
    return [
        f"   {words(lit)}",
        f"   {out / lit.piece.name}-lay.png: lines at {lit.loading.height:.1f} mm height land "
        f"{true.rms:.2f} mm RMS off, {true.worst:.2f} mm at worst"
        + (f" (without their height: {flat.rms:.1f} mm)" if flat.rms > 2 * true.rms else ""),
    ]


def _askew(out: Path, truth: VirtualRig, rig: Rig, lit: Lit) -> list[str]:
    """Write the views of a shirt laid askew; return what to say of it."""
    with resources.as_file(resources.files(tern_harbour) / lit.piece.art) as file:
        ink = measured_ink(file).mask()
    mottle = 0.025 if sum(lit.cloth.colour) > 600 else 0.10
    shown = askew(
        rig, truth, lit.placement, lit.loading, dyed(lit.cloth.colour, mottle),
        palette_for(lit.cloth.colour), ink,
    )  # fmt: skip
    names = [
        f"{lit.piece.name}-{name}.png"
        for name in ("light-as-planned", "light-follows", "transfer-off")
    ]
    for name, (cloth, frame) in zip(names, (shown.planned, shown.follows, shown.told), strict=True):
        write_picture(out / name, show(truth, lit.loading.platen, cloth, frame))
    return [
        f"   {out / names[0]}: lines where they were planned, beside where they belong on the "
        f"shirt (to bring it there: {shown.how})",
        f"   {out / names[1]}: the light has followed the shirt",
        f"   {out / names[2]}: its transfer, laid {OFF.length:.0f} mm off: {shown.seen.why}",
    ]


def open_window(rig: Rig) -> None:
    """Work the order in a window as `chalkbeam run` does, with nothing recorded.

    Raises
    ------
    Refusal
        If there is no screen.
    """
    from chalkbeam.record.scratch import scratch_session
    from chalkbeam.station.controller import StationController
    from chalkbeam.station.frames import FrameCache
    from chalkbeam.station.host import run_in_window
    from chalkbeam.station.ready_imprint import ImprintPreparer

    output = FrameCache()

    def prepare() -> Callable[[], StationController]:
        work = plan([_piece(*each) for each in enumerate(ORDER, 1)], None, fit_on_press)
        controller = StationController(
            scratch_session(work), ImprintPreparer([rig]), output, unit=Unit.INCH
        )
        return lambda: controller

    run_in_window(lambda tell: prepare(), output, rig, None, beside=None, say=print)


def _piece(number: int, imprint: DemoImprint) -> Piece:
    """Return an imprint of the demo on a piece of its own, as a run sheet would ask for it."""
    file = Path(tern_harbour.__file__).parent / imprint.art
    pad = imprint.pad
    on = "" if pad is None else f"{pad.face.width}x{pad.face.depth}x{pad.height}mm"
    art = Art(ArtKind.FILE, imprint.art, file)
    asked = Imprint(f"{number}-1/1", imprint.where, art, imprint.width, pad=on)
    return Piece(f"{number}-1", number, 1, 1, imprint.style, imprint.size, imprint.cloth, (asked,))
