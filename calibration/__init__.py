"""Photos to millimetres to projector pixels. Knows no garment and opens no window."""
