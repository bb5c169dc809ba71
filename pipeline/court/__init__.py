"""court: map each frame's pixels to the floor.

Comes in: rule-book dimensions and the floor markings seen in each frame (``marks``). Goes out: the
``cameras`` table, one camera or a reason for having none per frame. Does not track players and
never opens a film.
"""
