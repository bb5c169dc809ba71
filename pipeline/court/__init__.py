"""court: map each frame's pixels to the floor.

Comes in: rule-book dimensions, the floor markings seen in some frames (``marks``, ``areas``), how the
picture moved between frames (``motion``), and landmarks that staff pinned. Goes out: the ``cameras`` table,
one camera or a reason for having none per frame. Does not track players and never opens a film.
"""
