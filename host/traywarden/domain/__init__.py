"""Pure computation: numbers in, numbers and reasons out. No clock, no I/O, no settings."""
