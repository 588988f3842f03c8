"""How far work is, and ways to stop it."""
