"""`underlit schema`: the JSON schema of scene files."""

from __future__ import annotations

import sys
from pathlib import Path

from underlit.commands.shared import cannot_write


def schema(*, out: Path | None = None) -> None:
    """Print the JSON schema of scene files, for editors that check and complete them.

    Parameters
    ----------
    out
        File to write instead of printing.
    """
    import json

    from underlit.scene import json_schema

    text = json.dumps(json_schema(), indent=2, ensure_ascii=False) + "\n"
    if out is None:
        sys.stdout.write(text)
        return
    from underlit.results.atomic import write_text

    try:
        write_text(out, text)
    except OSError as problem:
        raise cannot_write(out, problem) from None
    print(f"Written to {out}")
