"""The tank in 3D: stills, the window, and data for ParaView."""
