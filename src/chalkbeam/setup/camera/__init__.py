"""Calibration photos taken by the program itself, from a camera whose pictures it watches.

`source` brings pictures, `quick_look` sees quickly what is in one, `advice` judges it (pure),
`taking` goes round until a photo is taken and kept, and `until_sure` until they make a rig.
`preview` draws what the operator sees of all that (pure), `preview_window` shows it.
"""
