"""Plantings grown from a seed: a module for each form, and what they share."""
