"""The browser app: a page on this machine that shows a tank and its light, and lets people change both.

    page -> sections, view -> session -> light, document -> blobs

`session.py` is one visitor's work; `light.py` traces for all sessions in turn; `blobs.py` packs shapes and light for the
browser; `view/` is the one component of our own. Needs the `app` extra.
"""
