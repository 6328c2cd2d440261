"""A score as read, and as heard.

`readers` turn a file into a `Score` (what is on the page); `played` unfolds it into
`Played` (the sounding notes); `rewrite` puts a changed score back into its file.
"""
