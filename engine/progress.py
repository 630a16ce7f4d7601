"""How far a long piece of work is, on a terminal only."""

from __future__ import annotations

import os
import sys
import time


class Bar:
    """A line that is redrawn; `total` may be an estimate, `what` names what is counted."""

    WIDTH = 30

    def __init__(self, total: int, done: int = 0, what: str = "rows") -> None:
        self.total, self.start, self.what = max(total, 1), done, what
        self.begun = self.last = time.monotonic()
        self.on = sys.stderr is not None and sys.stderr.isatty() and os.environ.get("TERM") != "dumb"

    def show(self, done: int) -> None:
        """Redraw, at most ten times a second."""
        now = time.monotonic()
        if not self.on or now - self.last < 0.1:
            return
        self.last = now
        share = min(1.0, done / self.total)
        rate = (done - self.start) / (now - self.begun)
        bar = ("█" * round(share * self.WIDTH)).ljust(self.WIDTH, "░")
        sys.stderr.write(f"\r{bar} {share:4.0%}  {done:,} {self.what}, {rate:,.0f} a second ")
        sys.stderr.flush()

    def clear(self) -> None:
        """Take it away."""
        if self.on:
            sys.stderr.write("\r\033[K")
            sys.stderr.flush()
