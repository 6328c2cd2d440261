"""The same music in other registers: for a class to hear, or for a writer to choose from.

`contrast` writes one version on purpose; `options` searches for small changes toward an
intention. Both move whole phrases of hands, voices or parts by octaves and keep what
`limits` says; both are measured as any piece is.
"""
