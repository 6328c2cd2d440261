"""Reference distributions: whom a piece is compared with, and where it lies.

Cohorts, percentiles and their intervals, profiles and neighbours, periods and effects.
What comes out is numbers with counts; sentences are made in `text`.
"""
