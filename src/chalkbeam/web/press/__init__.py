"""The page at the press: the piece in hand, a button for every key."""
