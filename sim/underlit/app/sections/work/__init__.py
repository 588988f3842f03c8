"""Sections that start heavy work."""
