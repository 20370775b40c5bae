"""Colour as the eye sees it, and the choice of colours for a fabric."""
