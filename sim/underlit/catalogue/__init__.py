"""Tanks, lights, lids, plants and the like as entries to which a scene can refer: shipped ones and a user's own, as raw tables.

What the tables mean is decided in `scene/reader/entries.py`; here they are read, found and searched.
"""

from underlit.catalogue.entry import Entry, Kind, Origin, Published
from underlit.catalogue.search import search, words_of
from underlit.catalogue.store import FOLDER_VARIABLE, Catalogue, load_catalogue, own_folder

__all__ = [
    "FOLDER_VARIABLE",
    "Catalogue",
    "Entry",
    "Kind",
    "Origin",
    "Published",
    "load_catalogue",
    "own_folder",
    "search",
    "words_of",
]
