"""Traywarden: tells a grower who raises transplants outdoors what each seed tray needs."""

__version__ = "0.1.0"
