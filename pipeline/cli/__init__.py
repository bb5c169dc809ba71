"""cli: the ``elbowroom`` command, a module for each purpose.

Comes in: what the user typed. Goes out: results on standard output, progress and errors on standard error. A command
parses, calls one function of a room and prints; its imports stand in its body, so that a light command starts without
what a heavy one needs. An expected error is one sentence and exit code 2 (``entry``). Shared options are in
``options``, what is shown and how in ``screen``.
"""

from pipeline.cli.entry import app, main

__all__ = ["app", "main"]
