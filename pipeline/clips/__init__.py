"""clips: film back out, with the floor drawn on.

Comes in: tags and reels, ``cameras``, ``tracks``, ``actions`` and the film. Goes out: MP4 clips and reels with drawings
on the floor plane, stills, half-court diagrams, and lists of tags for other programs. Does not decide what is worth a
clip.
"""
