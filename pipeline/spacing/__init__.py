"""spacing: how much room there was, and where it was missing.

Comes in: ``tracks``, ``touches``, ``possessions``, ``actions``. Goes out: the ``spacing`` measures per frame
and the ``faults`` table. Does not judge the actions themselves.
"""
