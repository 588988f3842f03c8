"""The `underlit` command.

Exit status: 0 done; 2 something the user can put right, said in one line each on stderr; 130 stopped by Ctrl-C (what
was counted is still printed and written); 143 told to end by SIGTERM; 1 a fault of the program.
"""

from __future__ import annotations

import os
import sys
from importlib import import_module
from typing import TYPE_CHECKING

from cyclopts import App, CycloptsError, Parameter

from underlit.commands.shared import Refused
from underlit.version import VERSION

if TYPE_CHECKING:
    from collections.abc import Sequence

app = App(
    name="underlit",
    version=VERSION,
    help="Predict PAR (PPFD), with its error, on every surface of a planted freshwater aquarium.",
    exit_on_error=False,
    print_error=False,
    # the library would make options such as --no-pdf and --empty-band, which nothing here expects
    default_parameter=Parameter(negative_bool=(), negative_iterable=()),
)
COMMANDS = (
    "trace",
    "report",
    "check",
    "view",
    "compare",
    "profile",
    "catalogue",
    "chart",
    "suggest",
    "plant",
    "algae",
    "dose",
    "fit",
    "sheet",
    "schema",
    "app",
)
"""Each is the function of its name in the module of its name in `commands/`."""
TRACEBACK = "UNDERLIT_TRACEBACK"
"""Environment variable: where set, a fault of the program shows its traceback."""
for _name in COMMANDS:
    app.command(getattr(import_module(f"underlit.commands.{_name}"), _name), name=_name)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; returns the exit status."""
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a sign shows a question mark: no reason to lose the answer.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        status = app(arguments, result_action="return_value")
        sys.stdout.flush()
    except Refused as problem:
        print(problem, file=sys.stderr)
        return 2
    except CycloptsError as problem:
        print(_one_line(problem), file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # Python would complain once more when it flushes at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as problem:
        if os.environ.get(TRACEBACK):
            raise
        print(_fault(problem), file=sys.stderr)
        return 1
    return status if isinstance(status, int) else 0


def _one_line(problem: CycloptsError) -> str:
    from cyclopts import MissingArgumentError, UnusedCliTokensError

    words = " ".join(str(problem).split()).partition(" Available commands")[0].rstrip(".")
    argument = problem.argument
    if isinstance(problem, UnusedCliTokensError) and problem.unused_tokens:
        words = f"one argument too many: {problem.unused_tokens[0]!r}"
    elif isinstance(problem, MissingArgumentError) and argument is not None:
        words = f"{argument.name} requires an argument"
        if argument.index is not None:
            words = f"{argument.name.removeprefix('--').upper()} is missing"
    chain = " ".join(["underlit", *(problem.command_chain or ())])
    first = words[:1].lower() if words[:2].istitle() else words[:1]
    return f"{first}{words[1:]}{' See' if words.endswith('?') else '; see'} {chain} --help"


def _fault(problem: Exception) -> str:
    if isinstance(problem, MemoryError):
        return "not enough memory for this scene: fewer plants, coarser meshes or fewer threads need less"
    said = " ".join(f"{type(problem).__name__}: {problem}".split())
    return (
        f"a fault in underlit, not in your scene ({said}); {TRACEBACK}=1 shows where; please report it with the scene"
    )
