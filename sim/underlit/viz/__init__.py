"""Pictures: maps of light, sheets to print, the tank in 3D."""
