"""Shapes in millimetres to light. Knows no camera and no garment."""
