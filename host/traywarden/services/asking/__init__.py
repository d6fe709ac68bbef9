"""Rules that are asked every so often: for each, from what is stored to its verdict on every subject."""
