"""The projector's window; pygame is used here and nowhere else."""
