"""Decide: zone verdicts, and what follows from stored results."""
