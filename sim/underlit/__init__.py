"""Predict PPFD, with its error, on every surface of a planted freshwater aquarium."""

__version__ = "0.1.0"
