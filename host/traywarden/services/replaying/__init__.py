"""History asked again: what the rules would have said, and what would have been told of it."""
