"""A reference from score files: one file to rows, many files, the last step."""
