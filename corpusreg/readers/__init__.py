"""Readers: one file per format family; each returns what is on the page."""
