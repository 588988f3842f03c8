"""Fixtures: what their owner knows of them, how they are built, how they run through the day, where they hang."""
