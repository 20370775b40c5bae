"""Calibrating together with the operator: crosses by hand, a live camera."""
