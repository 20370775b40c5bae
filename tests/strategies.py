"""Hypothesis strategies shared by the tests: garments as a shop meets them."""

from __future__ import annotations

from hypothesis import strategies as st

from chalkbeam import garments


@st.composite
def garment_choices(draw: st.DrawFn) -> tuple[str, str, garments.Fit]:
    """Return a style, a size it comes in, and the fit."""
    style = draw(st.sampled_from(garments.styles()))
    fits = [fit for fit in garments.FITS if garments.sizes(style, fit=fit)]
    fit = draw(st.sampled_from(fits))
    return style, draw(st.sampled_from(garments.sizes(style, fit=fit))), fit


@st.composite
def any_garment(draw: st.DrawFn) -> garments.Garment:
    """Return any garment of the program's own charts."""
    style, size, fit = draw(garment_choices())
    return garments.garment(style, size, fit=fit)


@st.composite
def any_face(draw: st.DrawFn) -> tuple[garments.Garment, garments.Face]:
    """Return a garment and one of its faces."""
    garment = draw(any_garment())
    return garment, garment.face(draw(st.sampled_from(garment.faces)))
