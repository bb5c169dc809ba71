"""film: a video file becomes frames with exact presentation times, a table of shots and the game's clock.

Comes in: a path. Goes out: decoded frames (BGR arrays with times), the ``shots`` and ``frames``
tables, which shots are live main-camera play included, the readings of the score graphic and the
``clock`` fitted to them. Does not look for players or the court's lines, and never writes into a
library.
"""
