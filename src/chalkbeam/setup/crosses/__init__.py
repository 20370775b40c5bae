"""Crosses that the operator moves on to marks of the platen."""
