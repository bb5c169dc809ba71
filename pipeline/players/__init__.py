"""players: who was where, in feet.

Comes in: frames (detector only), then the ``boxes`` and ``cameras`` tables; or rows of tracking data from elsewhere
(``imported_rows``, ``imported_play``). Goes out: ``boxes`` and ``tracks``, with team, role and uncertainty. Does not
decide who holds the ball.
"""
