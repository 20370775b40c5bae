"""True benches and what a camera would report of them: the engine of the Monte Carlo tests.

Written apart from the solver's model of the world: a bench is made from look-at
poses and lens positions, and corners get their pixels through `cv2.projectPoints`.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from calibration.geometry import PlatenFace
from calibration.model.pinhole import Pinhole
from calibration.observations import SIDES, Corner, EdgePoint, PhotoObservation
from calibration.targets.cards import Card, layout
from calibration.targets.pattern import Pattern

FACE = PlatenFace(406.4, 508.0, 12.0)
CLEAR_OF_EDGES = 9.0
"""Pattern corners nearer than this to an edge of platen or card are not reported, mm."""


@dataclass(frozen=True)
class TrueLens:
    """A camera or projector as it truly is."""

    size: tuple[int, int]
    focal: float
    centre: tuple[float, float]
    radial: tuple[float, float]
    position: np.ndarray
    rotation: np.ndarray
    aspect: float = 1.0
    skew: float = 0.0
    tangential: tuple[float, float] = (0.0, 0.0)
    """A decentred lens, as `cv2.projectPoints` has it."""
    bend: tuple[float, float] = (0.0, 0.0)
    """Perspective terms, over the picture's width, of a keystone correction."""

    def project(self, points: np.ndarray) -> np.ndarray:
        local = (points - self.position) @ self.rotation.T
        zero = np.zeros(3)
        bent, _ = cv2.projectPoints(
            local, zero, zero, np.eye(3), np.array([*self.radial, *self.tangential])
        )
        x, y = bent.reshape(-1, 2).T
        u = self.focal * x + self.skew * y + self.centre[0]
        plain = np.column_stack([u, self.focal * self.aspect * y + self.centre[1]])
        return self._bent(plain, 1.0)

    def _bent(self, pixels: np.ndarray, sign: float) -> np.ndarray:
        """Pixels under the homography of the keystone correction (sign 1), or its inverse (-1)."""
        middle = (np.array(self.size) - 1) / 2
        share = (pixels - middle) @ np.array(self.bend) / self.size[0]
        return middle + (pixels - middle) / (1 - sign * share)[:, None]

    def land(self, pixels: np.ndarray, height: float | np.ndarray) -> np.ndarray:
        pixels = self._bent(pixels, -1.0)
        y = (pixels[:, 1] - self.centre[1]) / (self.focal * self.aspect)
        x = (pixels[:, 0] - self.centre[0] - self.skew * y) / self.focal
        bent = np.column_stack([x, y])
        flat = bent.copy()
        for _ in range(200):
            r2 = np.sum(flat**2, axis=1, keepdims=True)
            shift = 2 * flat * (flat @ self.tangential[::-1])[:, None]
            shift = shift + r2 * self.tangential[::-1]
            flat = (bent - shift) / (1 + self.radial[0] * r2 + self.radial[1] * r2**2)
        rays = np.column_stack([flat, np.ones(len(flat))]) @ self.rotation
        reach = (height - self.position[2]) / rays[:, 2]
        return self.position[:2] + reach[:, None] * rays[:, :2]


def look_at(position: np.ndarray, target: np.ndarray, roll: float = 0.0) -> np.ndarray:
    """Rotation lens_from_platen with the axis on `target` and platen +y up in the picture."""
    forward = target - position
    forward = forward / np.linalg.norm(forward)
    right = np.cross(forward, [0.0, 1.0, 0.0])
    right = right / np.linalg.norm(right)
    level = np.vstack([right, np.cross(forward, right), forward])
    c, s = np.cos(roll), np.sin(roll)
    return np.array([[c, s, 0], [-s, c, 0], [0, 0, 1]]) @ level


def _place(distance: float, lean: float, azimuth: float) -> np.ndarray:
    return distance * np.array(
        [np.sin(lean) * np.cos(azimuth), np.sin(lean) * np.sin(azimuth), np.cos(lean)]
    )


@dataclass(frozen=True)
class Bench:
    """A true press with projector, cards as laid, and cameras to photograph it."""

    projector: TrueLens
    cards: tuple[Card, ...]
    pattern: Pattern
    face: PlatenFace = FACE
    print_scale: float = 1.0
    card_poses: dict[tuple[float, str], tuple[float, float, float]] = field(default_factory=dict)

    bow: tuple[float, float, float] = (0.0, 0.0, 0.0)
    wave: float = 0.0
    """Height of waves some 400 mm long, which no bow follows, mm."""

    def surface(self, points: np.ndarray, height: float) -> np.ndarray:
        """Points of the bowed platen, or of a sheet on it, shape (N, 3)."""
        x, y = points.T / 100
        rise = self.bow[0] * x * x + self.bow[1] * x * y + self.bow[2] * y * y
        rise = rise + self.wave * np.sin(points[:, 0] / 60) * np.cos(points[:, 1] / 75)
        return np.column_stack([points, height + rise])

    def landing(self, pixels: np.ndarray, height: float = 0.0) -> np.ndarray:
        points = self.projector.land(pixels, height)
        for _ in range(8 if any(self.bow) or self.wave else 0):
            points = self.projector.land(pixels, self.surface(points, height)[:, 2])
        return points

    def laid_corners(self, card: Card, raised: float) -> np.ndarray:
        dx, dy, turn = self.card_poses.get((raised, card.name), (0.0, 0.0, 0.0))
        outline = card.outline()
        anchor = outline[np.argmax(np.linalg.norm(outline, axis=1))]
        centre = np.array(card.centre)
        grown = anchor + self.print_scale * (card.corners() - anchor)
        middle = anchor + self.print_scale * (centre - anchor)
        c, s = np.cos(turn), np.sin(turn)
        return (grown - middle) @ np.array([[c, s], [-s, c]]) + middle + (dx, dy)

    def photo(
        self,
        camera: TrueLens,
        rng: np.random.Generator,
        noise: float = 0.1,
        raised: float = 0.0,
        name: str = "photo.jpg",
        key: str = "phone",
        hint: float | None = None,
        edges: tuple[float, float, float, float] | None = None,
    ) -> PhotoObservation:
        """What is found in a photo; `edges`: how far out each edge is seen, mm, if it is."""

        def shoot(points: np.ndarray) -> np.ndarray:
            return camera.project(self.surface(points, raised)) + rng.normal(
                0, noise, (len(points), 2)
            )

        def inside(pixel: np.ndarray) -> bool:
            return bool(np.all(pixel > 5) and np.all(pixel < np.array(camera.size) - 6))

        cards = tuple(
            Corner(card.name, k, (float(p[0]), float(p[1])))
            for card in self.cards
            for k, p in enumerate(shoot(self.laid_corners(card, raised)))
            if inside(p)
        )
        indices = np.arange(len(self.pattern.lattices[0].charuco.corners))
        points = self.landing(self.pattern.pixels(indices), raised)
        half = np.array([self.face.width, self.face.depth]) / 2 - CLEAR_OF_EDGES
        keep = np.all(np.abs(points) < half, axis=1)
        for card in self.cards:
            reach = card.size / 2 + CLEAR_OF_EDGES
            keep &= np.any(np.abs(points - card.centre) > reach, axis=1)
        pattern = tuple(
            Corner("pattern", int(k), (float(p[0]), float(p[1])))
            for k, p in zip(indices[keep], shoot(points[keep]), strict=True)
            if inside(p)
        )
        seen = ()
        if edges is not None:
            size = np.array([self.face.width, self.face.depth]) / 2
            seen = tuple(
                EdgePoint(side.name, (float(p[0]), float(p[1])))
                for side, out in zip(SIDES, edges, strict=True)
                for p in shoot(
                    side.at(np.linspace(-0.4, 0.4, 4) * size[1 - side.axis], size[side.axis] + out)
                )
            )
        return PhotoObservation(name, camera.size, key, hint, raised, cards, pattern, seen)


def bench(
    rng: np.random.Generator,
    card_error: float = 0.0,
    print_error: float = 0.0,
    heights: tuple[float, ...] = (0.0, 10.0),
    size: tuple[int, int] = (1920, 1080),
    lens_shift: float | None = None,
) -> Bench:
    """A random bench: beam 20 to 45 degrees off the normal, from any side but the operator's."""
    width, height = size
    throw = rng.uniform(1.2, 1.6)
    focal = throw * width
    shift = rng.choice([-1, 1]) * rng.uniform(0.0, 0.6) if lens_shift is None else lens_shift
    centre = ((width - 1) / 2 + rng.normal(0, 8), (height - 1) / 2 + shift * height)
    lean, azimuth = np.radians(rng.uniform(20, 45)), np.radians(rng.uniform(20, 160))
    position = _place(throw * rng.uniform(780, 900), lean, azimuth)
    to_middle = look_at(position, np.zeros(3), rng.normal(0, 0.05))
    tilt = np.arctan2((height - 1) / 2 - centre[1], focal)
    c, s = np.cos(tilt), np.sin(tilt)
    rotation = np.array([[1, 0, 0], [0, c, s], [0, -s, c]]) @ to_middle
    radial = (rng.uniform(-0.03, 0.03), rng.uniform(-0.01, 0.01))
    projector = TrueLens(size, focal, centre, radial, position, rotation)
    cards = layout(FACE)
    return Bench(
        projector,
        cards,
        Pattern(size),
        print_scale=1 + rng.normal(0, print_error),
        card_poses=card_poses(rng, cards, card_error, heights),
    )


def shifted_sideways(plain: Bench, share: float) -> Bench:
    """The bench with its lens shifted sideways by a share of the picture's width."""
    lens = plain.projector
    turn = np.arctan2(share * lens.size[0], lens.focal)
    c, s = np.cos(turn), np.sin(turn)
    about = np.array([[c, 0, s], [0, 1, 0], [-s, 0, c]])  # the picture stays on the platen
    centre = (lens.centre[0] + share * lens.size[0], lens.centre[1])
    moved = replace(lens, centre=centre, rotation=about.T @ lens.rotation)
    return replace(plain, projector=moved)


def card_poses(
    rng: np.random.Generator,
    cards: tuple[Card, ...],
    error: float,
    heights: tuple[float, ...] = (0.0, 10.0),
) -> dict[tuple[float, str], tuple[float, float, float]]:
    """Shift and turn of every card on every height, `error` mm along each edge."""
    return {
        (raised, card.name): (
            rng.normal(0, error),
            rng.normal(0, error),
            rng.normal(0, error / (card.size / 2)),
        )
        for raised in heights
        for card in cards
    }


def phone(rng: np.random.Generator) -> TrueLens:
    """A 12-megapixel phone: one lens, to be posed with `posed`."""
    centre = (2015.5 + rng.normal(0, 15), 1511.5 + rng.normal(0, 15))
    radial = (rng.uniform(0.02, 0.08), rng.uniform(-0.1, -0.02))
    return TrueLens((4032, 3024), rng.uniform(2900, 3300), centre, radial, np.zeros(3), np.eye(3))


def webcam(rng: np.random.Generator) -> TrueLens:
    """A 1080p webcam with a strong lens."""
    centre = (959.5 + rng.normal(0, 8), 539.5 + rng.normal(0, 8))
    radial = (rng.uniform(-0.25, -0.1), rng.uniform(0.02, 0.08))
    return TrueLens((1920, 1080), rng.uniform(1300, 1500), centre, radial, np.zeros(3), np.eye(3))


def posed(lens: TrueLens, rng: np.random.Generator) -> TrueLens:
    """The lens, held by hand over the operator's side so that the whole platen is in view."""
    reach = 1.25 * 508 / min(lens.size[1] / lens.focal, 0.8 * lens.size[0] / lens.focal)
    lean = np.radians(rng.uniform(5, 40))
    position = _place(reach * (1 + 0.3 * np.sin(lean)), lean, np.radians(rng.uniform(200, 340)))
    aim = np.append(rng.normal(0, 12, 2), 0.0)
    roll = rng.normal(0, 0.05) + rng.choice([0.0, np.pi / 2])
    return replace(lens, position=position, rotation=look_at(position, aim, roll))


def grid(face: PlatenFace = FACE, columns: int = 13, rows: int = 15) -> np.ndarray:
    """Points over the whole platen, shape (N, 2)."""
    x = np.linspace(-face.width / 2, face.width / 2, columns)
    y = np.linspace(-face.depth / 2, face.depth / 2, rows)
    return np.stack(np.meshgrid(x, y), -1).reshape(-1, 2)


def pinhole(lens: TrueLens) -> Pinhole:
    """The true lens in the solver's own words."""
    plain = Pinhole(
        lens.focal,
        *lens.centre,
        *lens.radial,
        *lens.tangential,
        aspect=lens.aspect,
        skew=lens.skew,
    )
    return plain.moved(lens.rotation, -lens.rotation @ lens.position)


def on_another_platen(
    bench: Bench,
    rng: np.random.Generator,
    face: PlatenFace,
    middle: tuple[float, float, float],
    turn: float = 0.0,
    lean: float = 0.0,
    card_error: float = 0.0,
) -> Bench:
    """The same press and projector with another platen on its post, in that platen's own frame.

    `middle` is where its face's middle is in the first platen's frame; it is turned by `turn` and
    leans by angles of standard deviation `lean`, radians.
    """
    leant = cv2.Rodrigues(np.array([*rng.normal(0, lean, 2), 0.0]))[0]
    turned = cv2.Rodrigues(np.array([0.0, 0.0, turn]))[0] @ leant
    was = bench.projector
    projector = replace(
        was, rotation=was.rotation @ turned, position=turned.T @ (was.position - np.array(middle))
    )
    cards = layout(face)
    laid = card_poses(rng, cards, card_error)
    return replace(bench, projector=projector, face=face, cards=cards, card_poses=laid)
