"""Register in music: measures over open scores, and a piece placed among them."""

from __future__ import annotations

__version__ = "0.1.0"
