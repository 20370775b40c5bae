"""The maps of calibration: homography, pinhole, platen surface, projector and how sure they are."""
