"""Property tests draw the same examples every time; ``--hypothesis-profile=seek`` draws others."""

from hypothesis import settings

settings.register_profile("repeatable", derandomize=True)
settings.register_profile("seek", derandomize=False)
settings.load_profile("repeatable")
