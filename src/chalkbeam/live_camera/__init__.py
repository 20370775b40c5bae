"""Calibration photos taken by the program itself, from a camera whose pictures it watches.

`source` brings pictures, `glance` sees quickly what is in one, `advice` judges it (pure),
and `taking` goes round until every photo is taken and kept.
"""
