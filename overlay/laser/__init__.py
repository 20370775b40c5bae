"""Frames for laser scanners: lit paths, and the bytes of the open format. Lights nothing."""
