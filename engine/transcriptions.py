"""How well a figure was read from its source."""

from collections.abc import Iterable

TRANSCRIPTIONS = ("checked", "second_hand", "recalled", "disputed", "missing")
"""From the strongest to the weakest."""


def weakest(transcriptions: Iterable[str | None]) -> str | None:
    """The weakest of several transcription words; None when none is stated."""
    places = [TRANSCRIPTIONS.index(word) for word in transcriptions if word in TRANSCRIPTIONS]
    return TRANSCRIPTIONS[max(places)] if places else None
