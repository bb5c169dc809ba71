"""clips: film back out, with the floor drawn on.

Comes in: a tag, ``cameras``, ``tracks`` and the film. Goes out: MP4 clips and stills with overlays on
the floor plane. Does not decide what is worth a clip.
"""
