"""Register measures: pure functions on arrays, one file per family.

Shared conventions are in `corpusreg.measures.texture`; what each measure is
called and means for people is data, in `corpusreg.measures.definitions`.
"""
