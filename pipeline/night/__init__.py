"""night: runs the stages over films and keeps the library on disk.

Comes in: films, or tracking data, and settings. Goes out: game folders with every table, a state of what ran, and tags.
May call every room; owns no measurement of its own.
"""
