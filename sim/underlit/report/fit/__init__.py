"""A fit to meter readings, printed and in files."""
