"""Plain sentences about a comparison."""
