"""Angular intensity of LEDs and the light they give in plain air."""
