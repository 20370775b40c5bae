"""The shop's shelves: garments and their charts, locations, fabrics."""
