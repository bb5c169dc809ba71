"""actions: what a coach would call the things that happen.

Comes in: ``tracks``, ``ball``, ``touches``, ``possessions``. Goes out: the ``actions`` table with actors,
times, places and every measured quantity. Does not match whole sets.
"""

from pipeline.actions.recognisers import RECOGNISERS, Recogniser, find_actions

__all__ = ["RECOGNISERS", "Recogniser", "find_actions"]
