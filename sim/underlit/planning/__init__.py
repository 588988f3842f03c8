"""Decide: zone verdicts, and what follows from kept results."""
