"""What a scene leaves open: the value taken and its range."""
