"""sets: find the plays of a set library among the actions of a possession.

Comes in: ``actions``, ``tracks``, ``ball``, ``possessions`` and the set files of a library. Goes out:
``set_candidates``, complete and in part, with roles bound to players, phases found and missing, points of emphasis
measured; a set as a drawing. Does not recognise actions itself and decides no tag.
"""
