"""`underlit catalogue`: list and search the pieces that a scene can refer to."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from underlit.commands.shared import Refused


def catalogue(
    *words: str,
    json: Annotated[bool, Parameter(negative=())] = False,
    ppfd: float | None = None,
    own: Path | None = None,
) -> None:
    """List and search tanks, lids, substrates, fixtures, wood, stone and plants that a scene can refer to.

    A scene refers to one by `from = "40 breeder"` in its table and overrides any key; a zone by `for = "hairgrass"`.

    Parameters
    ----------
    words
        A kind (tanks, plants ...), a need (undemanding, medium, demanding), beginnings of words; a name shows that entry in full.
    json
        Print what was found as JSON, every entry in full.
    ppfd
        Only plants that a light of so many umol/m2/s suits in a settled tank, with or without added CO2.
    own
        Folder of your own entries. Default: what UNDERLIT_CATALOGUE names, or `catalogue` in underlit's data folder.
    """
    from underlit.catalogue import load_catalogue, own_folder
    from underlit.report.catalogue import as_json, found, print_entries, print_entry, suited_by, why_nothing
    from underlit.report.printout import output_console
    from underlit.scene.reader.entry_check import checked

    known = checked(load_catalogue(own))
    for problem in known.problems:
        print(problem, file=sys.stderr)
    entries = found(known, words)
    if not entries:
        raise Refused(why_nothing(known, words))
    if ppfd is not None:
        entries = suited_by(entries, ppfd, known)
        if not entries:
            raise Refused(f"--ppfd: none of these plants has a band that holds {ppfd:g} umol/m2/s in a settled tank")
    if json:
        sys.stdout.write(as_json(entries, known))
        return
    console = output_console()
    if len(entries) == 1:
        print_entry(console, entries[0], known)
    else:
        print_entries(console, entries, known, own or own_folder())
