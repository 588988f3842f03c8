"""Lowering of substrate, wood, stone and plants."""
