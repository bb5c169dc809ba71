"""evaluate: every accuracy number the project publishes.

Comes in: tables and truth tables, or folders of labelled material. Goes out: scores with counts.
Does not change anything.
"""
