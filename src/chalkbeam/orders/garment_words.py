"""What a garment of an order is called on paper and on screens: by the trade's word."""

from __future__ import annotations

from chalkbeam.garments.library import style_words
from chalkbeam.orders.pieces import Piece


def cut_words(piece: Piece) -> str:
    """Return style and fit: “polo”, “crew tee womens”."""
    return f"{style_words(piece.style)} {piece.fit}".removesuffix(" regular").strip()


def pile_words(pile: str) -> str:
    """Return what a pile of blank garments (`Piece.pile`) is called: “polo · navy · M”."""
    garment, dot, rest = pile.partition(" · ")
    style, gap, fit = garment.partition(" ")
    return f"{style_words(style)}{gap}{fit}{dot}{rest}"
