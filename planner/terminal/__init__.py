"""What a person meets at the command line: clean text, short tables, progress, Ctrl-C."""
