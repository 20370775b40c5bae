"""What happened at the press, on disk."""
