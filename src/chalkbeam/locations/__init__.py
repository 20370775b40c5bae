"""Locations: where on a garment artwork goes, as rules kept in data.

`location` finds one by name, `locations` lists them all: the built-in ones in
``data/``, their mirrored twins, and the user's presets in `presets_folder`,
which are read again whenever a file there changes.
"""

from chalkbeam.locations.library import location, locations, presets_folder
from chalkbeam.locations.schema import METHODS, Axis, Band, Bound, Feature, Rule
from chalkbeam.locations.values import Location

__all__ = [
    "METHODS",
    "Axis",
    "Band",
    "Bound",
    "Feature",
    "Location",
    "Rule",
    "location",
    "locations",
    "presets_folder",
]
