"""Several presses, one queue: what they share in a database, and how each goes on without it."""
