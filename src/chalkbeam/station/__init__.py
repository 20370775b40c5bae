"""The work at the press: keys in, light out."""
