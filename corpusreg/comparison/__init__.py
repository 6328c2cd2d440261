"""A piece placed among the works of a reference, as plain data.

Comparison, players, drafts and model passages. Nothing here makes a sentence.
"""
