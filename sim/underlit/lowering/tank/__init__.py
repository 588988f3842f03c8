"""Lowering of the tank: panes, water surface, lid, hood, rim and braces."""
