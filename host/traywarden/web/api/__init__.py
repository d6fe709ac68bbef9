"""The same questions and the same journal, for other programs."""
