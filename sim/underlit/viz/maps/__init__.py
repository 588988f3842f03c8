"""Flat pictures of light: maps, sections, profiles and charts."""
