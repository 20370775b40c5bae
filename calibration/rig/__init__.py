"""The rig on disk: its file, the library of rigs, how it is made, checked and reported."""
