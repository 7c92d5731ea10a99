"""Captions and images for a video, from a recorded flight.

`frames` interpolates a recording at a video's frames, `cues` turns these into captions, `webvtt`, `subrip` and
`substation` write caption files, `image` draws one instant. `timecode` counts frames, `template` defines the text,
`placement` its place. All values are SI.
"""
