"""Which marker family is read at the smallest scale: the choice for cards and pattern.

``python -m benchmarks.marker_families [--trials 8]``

Chessboards with markers in their white squares, all families at the *same size of
square*, are seen at a slant (foreshortened to 0.55-0.70, turned by up to 34 degrees), with
blur of 0.8 px, noise of 4 levels and JPEG at quality 85, then read by OpenCV as they are
and enlarged twice. The table gives the share of markers read; a marker read as another
id counts as wrong.
"""

from __future__ import annotations

import argparse
import sys

import cv2
import numpy as np

FAMILIES = {
    "4x4_250": cv2.aruco.DICT_4X4_250,
    "apriltag 16h5": cv2.aruco.DICT_APRILTAG_16h5,
    "apriltag 25h9": cv2.aruco.DICT_APRILTAG_25h9,
    "5x5_250": cv2.aruco.DICT_5X5_250,
    "apriltag 36h11": cv2.aruco.DICT_APRILTAG_36h11,
    "mip 36h12": cv2.aruco.DICT_ARUCO_MIP_36h12,
}
SQUARES = (18, 22, 26, 32, 40)  # px, geometric mean of both directions


def seen(board: np.ndarray, scale: float, rng: np.random.Generator) -> np.ndarray:
    """Return a slanted, blurred, noisy photo of a board picture."""
    slant, turn = rng.uniform(0.55, 0.7), rng.uniform(-0.6, 0.6)
    c, s = np.cos(turn), np.sin(turn)
    matrix = np.array([[c, -s], [s, c]]) @ np.diag([scale / slant**0.5, scale * slant**0.5])
    side = round(len(board) * scale * 1.9) + 40
    over = 4
    shift = side / 2 - matrix @ (np.array([len(board)] * 2) / 2) + rng.uniform(-0.5, 0.5, 2)
    affine = np.column_stack([matrix * over, shift * over + (over - 1) / 2])
    large = cv2.warpAffine(board, affine, (side * over, side * over), borderValue=150)
    photo = cv2.resize(large, (side, side), interpolation=cv2.INTER_AREA).astype(float)
    photo = cv2.GaussianBlur(photo, (0, 0), 0.8) + rng.normal(0, 4, photo.shape)
    coded = cv2.imencode(".jpg", photo.clip(0, 255).astype(np.uint8), [1, 85])[1]
    return np.asarray(cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE))


def share_read(family: int, square: int, trials: int, enlarge: int) -> tuple[float, int]:
    """Return the share of markers read and the number read wrong."""
    rng = np.random.default_rng([square, enlarge])
    dictionary = cv2.aruco.getPredefinedDictionary(family)
    modules, count = dictionary.markerSize + 4, len(dictionary.bytesList)
    squares = 7 if count < 60 else 9
    right = wrong = total = 0
    for _ in range(trials):
        ids = rng.permutation(count)[: squares * squares // 2].astype(np.int32)
        board = cv2.aruco.CharucoBoard(
            (squares, squares), float(modules), float(modules - 2), dictionary, ids
        )
        drawn = board.generateImage((squares * modules * 8,) * 2, marginSize=0)
        ink = (40 + drawn * (160.0 / 255)).astype(np.uint8)
        photo = seen(ink, square / (modules * 8), rng)
        photo = cv2.resize(photo, None, fx=enlarge, fy=enlarge, interpolation=cv2.INTER_CUBIC)
        parameters = cv2.aruco.DetectorParameters()
        parameters.minMarkerPerimeterRate = 0.01
        parameters.minDistanceToBorder = 1
        found = cv2.aruco.ArucoDetector(dictionary, parameters).detectMarkers(photo)[1]
        read = set() if found is None else set(np.ravel(found).tolist())
        right += len(read & set(ids.tolist()))
        wrong += len(read - set(ids.tolist()))
        total += len(ids)
    return right / total, wrong


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--trials", type=int, default=8)
    trials = parser.parse_args().trials
    print("share of markers read, by side of the squares in the photo (as it is / enlarged twice)")
    print(f"{'family':16}" + "".join(f"{square:>14} px" for square in SQUARES) + "   wrong")
    for name, family in FAMILIES.items():
        cells, mistakes = [], 0
        for square in SQUARES:
            shares = [share_read(family, square, trials, enlarge) for enlarge in (1, 2)]
            cells.append(" / ".join(f"{share:.2f}" for share, _ in shares))
            mistakes += sum(wrong for _, wrong in shares)
        print(f"{name:16}" + "".join(f"{cell:>17}" for cell in cells) + f"{mistakes:8}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
