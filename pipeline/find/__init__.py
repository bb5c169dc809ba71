"""find: one question to every game of a library.

Comes in: the tables of a library's games, its tag store, and a search in words (kinds, teams, a condition such as
``return_catch_ft > 28 and ended = 'post entry'``). Goes out: a table with one row a hit, and documented read-only views
of all games for SQL. Recognises nothing, decides nothing, and changes neither tables nor tags; what was not seen stays
unknown and is counted as such.
"""

from pipeline.find.bar import bar_text, read_bar
from pipeline.find.filters import Filters
from pipeline.find.names import Column, columns
from pipeline.find.searching import Found, find, search
from pipeline.find.views import open_views

__all__ = ["Column", "Filters", "Found", "bar_text", "columns", "find", "open_views", "read_bar", "search"]
