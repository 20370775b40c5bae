"""Observations become a map; fit is the door."""
