"""The light for a placement: its marks, labels and pages."""
