"""A photo file: how it is read, its channels and how sharp it is."""
