"""Kinds of register use: clusters found, stored, described."""
