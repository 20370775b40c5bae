"""A photo becomes observations; observe is the door."""
