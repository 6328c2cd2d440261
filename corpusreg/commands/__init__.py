"""Commands of the command line that need more than one call, by subject."""
