"""Outside libraries for brokers, files and notice channels; their errors end here."""
