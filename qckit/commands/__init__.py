"""One file per command of the command line; each gathers options and calls one function."""
