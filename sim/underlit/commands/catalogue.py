"""`underlit catalogue`: list and search the pieces that a scene can refer to."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

from underlit.commands.options import FLAG, real
from underlit.commands.shared import Refused


def catalogue(
    *words: str,
    json: Annotated[bool, FLAG] = False,
    ppfd: Annotated[float | None, real("0 or more", lambda value: 0 <= value < float("inf"))] = None,
    own: Path | None = None,
) -> None:
    """List or search the tanks, lids, substrates, fixtures, wood, stone and plants that a scene can refer to.

    A table of a scene takes an entry with `from = "40 breeder"`; any key beside it comes first. A zone takes the needs of a
    plant with `for = "hairgrass"`.

    Parameters
    ----------
    words
        A kind (tanks, plants ...), a need (undemanding, medium, demanding), or the beginnings of words. The name of an
        entry shows it in full.
    json
        Print the entries found as JSON, each in full.
    ppfd
        Only plants that suit this light in a settled tank, umol/m2/s, with or without added CO2.
    own
        Folder of your own entries. Default: the folder that UNDERLIT_CATALOGUE names, or `catalogue` in underlit's data
        folder.
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
            raise Refused(f"--ppfd: {ppfd:g} umol/m2/s suits none of these plants in a settled tank")
    if json:
        sys.stdout.write(as_json(entries, known))
        return
    console = output_console()
    if len(entries) == 1:
        print_entry(console, entries[0], known)
    else:
        print_entries(console, entries, known, own or own_folder())
