"""From a file to a validated scene: layers, catalogue entries, and every problem with its place."""
