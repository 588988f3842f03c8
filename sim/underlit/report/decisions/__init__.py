"""Answers to decisions as people read them: words, tables and files."""
