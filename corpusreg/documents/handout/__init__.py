"""Sheets for a class: an overview, one sheet a piece, and one for the teacher."""
