"""Figures measured on recorded data by `python -m tests.figures NAME`; without a name it lists them."""
