"""What cannot be, or makes no sense, across the parts of a scene."""
