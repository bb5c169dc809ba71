"""tags: the candidates that staff look at, and what staff said of them.

Comes in: ``faults`` and other candidates. Goes out: the tag store of a library, with an append-only
history. Does not open films and does not recognise anything.
"""
