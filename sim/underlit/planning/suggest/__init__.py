"""What to hang, where, and how far to dim it, so that most zones get the light they want.

    from underlit import load_scene
    from underlit.planning.suggest import SearchSpace, suggest

    found = suggest(load_scene("scenes/carpet-plan.toml"), SearchSpace(most=2, lid_may_go=True))
    for one in found.ranked:
        print(one.hanging, one.settings, [zone.name for zone in one.unmet])

What a suggestion says was found by a full trace of it.
"""

from underlit.planning.suggest.conflicts import Conflict, OutOfReach, TooAlike, TooMuch
from underlit.planning.suggest.search_space import SearchSpace, SuggestError, Weigh
from underlit.planning.suggest.suggest import Suggestions, suggest
from underlit.planning.suggest.suggestion import Suggestion

__all__ = [
    "Conflict",
    "OutOfReach",
    "SearchSpace",
    "SuggestError",
    "Suggestion",
    "Suggestions",
    "TooAlike",
    "TooMuch",
    "Weigh",
    "suggest",
]
