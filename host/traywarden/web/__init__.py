"""The pages: the same questions and journal as the command line, for a browser."""
