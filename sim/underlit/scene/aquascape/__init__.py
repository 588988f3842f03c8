"""What lies and grows in the tank: substrate, wood, stone and plants."""
