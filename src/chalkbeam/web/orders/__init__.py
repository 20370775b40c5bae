"""Orders on the page: typed or dropped in, seen on the garment, proofs, plan of work."""
