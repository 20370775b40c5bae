"""Lettering: typefaces, kerning and the breaking of lines."""
