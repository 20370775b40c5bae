"""Shapes in millimetres become frames of pixels; frame is the door."""
