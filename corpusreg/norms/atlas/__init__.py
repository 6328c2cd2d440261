"""A repertoire atlas as data: groups of works, octaves, heights of instruments."""
