"""film: a video file becomes frames with exact presentation times and a table of shots.

Comes in: a path. Goes out: decoded frames (BGR arrays with times) and the ``shots`` and ``frames``
tables, which shots are live main-camera play included. Does not look for players or the court's
lines, and never writes into a library.
"""
