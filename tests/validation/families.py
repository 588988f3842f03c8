"""The families in the order of the page. A new family: a module in this folder with FAMILY = Family(...), and its name here."""

from __future__ import annotations

from importlib import import_module

from .framework import Family

MODULES: tuple[str, ...] = ("room", "optics", "media", "factors", "photon_units", "underwater", "engines", "trade")


def load(module: str) -> Family:
    """The family of a module in this folder."""
    return import_module(f".{module}", __package__).FAMILY
