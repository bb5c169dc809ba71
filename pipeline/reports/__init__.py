"""reports: what the staff print, send and talk about in the morning.

Comes in: the tag store and the tables of a library's games, through ``find``. Goes out: a set's execution sheet, two
sides on one set, congestion by ball screen and by unit, a night's summary, a trend over games: each first a frozen
value, then a page, and of a page one HTML file or a PDF. Recognises nothing and decides nothing; says what the sample
cannot tell.
"""
