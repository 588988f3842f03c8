"""Spectral data with their sources and the PAR grid that all worlds share."""
