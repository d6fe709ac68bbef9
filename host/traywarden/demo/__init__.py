"""An invented garden that plays through the real host."""
