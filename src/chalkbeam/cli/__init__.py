"""The command line: one file per command group; parse, one call, print."""
