"""A press at work as its fixed camera films it: coarse, quick, over time."""
