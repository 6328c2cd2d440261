"""Pages beside the report of a piece: a contrast, model passages."""
