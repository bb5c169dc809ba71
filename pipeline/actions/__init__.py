"""actions: what a coach would call the things that happen.

Comes in: ``tracks``, ``ball``, ``touches``, ``possessions``. Goes out: the ``actions`` table with actors,
times, places and every measured quantity. Does not match whole sets. The recognisers and what runs them are in
``recognisers``; nothing is imported here, so that settings and the vocabulary load without them.
"""
