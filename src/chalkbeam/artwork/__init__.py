"""Artwork: its ink, its balance, its sheet, at true size."""

from chalkbeam.artwork.letters import TooLong, check_letters, letter, letter_ink
from chalkbeam.artwork.measure import SizeUnknown, load_artwork, load_gang, picked
from chalkbeam.artwork.setting import LetterStyle, tallest
from chalkbeam.artwork.values import (
    Artwork,
    Box,
    CentreRule,
    Extents,
    Lettered,
    OpticalCentre,
    extents,
    optical_centre,
)

__all__ = [
    "Artwork",
    "Box",
    "CentreRule",
    "Extents",
    "LetterStyle",
    "Lettered",
    "OpticalCentre",
    "SizeUnknown",
    "TooLong",
    "check_letters",
    "extents",
    "letter",
    "letter_ink",
    "load_artwork",
    "load_gang",
    "optical_centre",
    "picked",
    "tallest",
]
