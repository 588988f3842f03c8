"""Pages to print or to take to the tank."""
