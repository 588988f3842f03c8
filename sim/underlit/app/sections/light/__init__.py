"""Sections that show the light and what it means."""
