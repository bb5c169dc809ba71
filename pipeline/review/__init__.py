"""review: the web pages in which staff look at candidates and decide.

Comes in: a library and, for each request, a person. Goes out: pages, the film in byte ranges, and decisions into the
tag store. Does not recognise anything, and opens no film but the library's own.
"""
