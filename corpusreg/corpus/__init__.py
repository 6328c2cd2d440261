"""Open corpora: which files there are, whose, from when, under which licence.

`catalogue` knows the files and facts before a note is read; `corpora` are the open
collections beyond the bundled one, and how they are fetched and added.
"""
