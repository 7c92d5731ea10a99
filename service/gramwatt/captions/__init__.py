"""A recorded flight as captions and pictures for a video: from a cleaned recording to frames, cues and files.

`frames` puts the recording on a video's frames, `cues` says what stands there from which frame to which, `webvtt`,
`subrip` and `substation` write that down, `picture` draws one instant. `timecode` counts frames, `template` says what
is shown, `placement` where. Nothing here knows of the web, of units beyond SI, or of validation libraries.
"""
