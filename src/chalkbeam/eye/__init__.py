"""What a fixed camera at the press sees: the garment, its height and colour, the laid transfer.

The camera takes a *burst*: one picture under each of a few pictures of light (`burst`). What is
read from it is a `values.Reading`.
"""
