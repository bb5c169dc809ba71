"""library: a folder with a tag store and one folder per game.

Comes in: the library's folder. Goes out: its games, their ``game.toml``, rosters, pins, game clock, the tag store,
and what a tag rests on in sentences. Does not run stages, does not search, draws nothing.
"""
