"""Everything of a garden as files that any other program can read."""
