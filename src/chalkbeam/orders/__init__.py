"""What is to do: a sheet becomes pieces and an order of work."""
