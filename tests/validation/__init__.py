"""The program against the outside world: families of checks that fill docs/validation.md.

`python -m tests.validation` from the project's root recomputes all of them and writes the page; `python -m tests.validation NAME`
recomputes one family and keeps the stored results of the others. pytest runs every family at a smaller size and checks
that the page is current.
"""
