"""Proofs: the page a customer signs, and a paper template that needs no projector."""

from chalkbeam.paper.proof.picture import ink_picture, letter_picture
from chalkbeam.paper.proof.sheet import proof_pdf
from chalkbeam.paper.proof.template import template_pdf
from chalkbeam.paper.proof.values import Proof

__all__ = ["Proof", "ink_picture", "letter_picture", "proof_pdf", "template_pdf"]
