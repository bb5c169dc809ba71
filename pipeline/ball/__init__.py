"""ball: where the ball was and who had it.

Comes in: ball boxes, ``cameras`` and ``tracks``. Goes out: ``ball``, ``touches`` and ``possessions``.
Does not name basketball actions beyond hold, pass, shot and loose ball.
"""
