"""Calibration photos taken by the program itself, from a camera that it watches.

`source` brings pictures, `quick_look` sees quickly what is in one, `advice` judges it (pure),
`take` repeats that until a photo is taken and saved, `until_accepted` until they make a rig.
`preview` draws what the page shows of all that.
"""
