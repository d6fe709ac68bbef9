"""One module per revision of the tables."""
