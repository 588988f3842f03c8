"""Sections in which the tank is described."""
