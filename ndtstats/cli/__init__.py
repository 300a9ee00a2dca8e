"""The command line: it translates, the library works. One file a verb, in the order of the work."""
