"""Data kept in parts, each of which is only made when somebody asks for it."""

from __future__ import annotations

import marshal
from collections.abc import Iterator, Mapping

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any


class Thawing(Mapping[str, "Any"]):
    """Names to plain data; `parts` are the names to what `frozen_parts` made of it."""

    def __init__(self, parts: dict[str, bytes]) -> None:
        self._parts = parts
        self._made: dict[str, Any] = {}

    def __getitem__(self, name: str) -> Any:
        if name not in self._made:
            self._made[name] = marshal.loads(self._parts[name])
        return self._made[name]

    def get(self, name: str, default: Any = None) -> Any:
        """The data of a name, or what stands for it where there is none."""
        return self[name] if name in self._parts else default

    def __contains__(self, name: object) -> bool:
        return name in self._parts

    def __iter__(self) -> Iterator[str]:
        return iter(self._parts)

    def __len__(self) -> int:
        return len(self._parts)


def frozen_parts(data: Mapping[str, Any]) -> dict[str, bytes]:
    """Plain data by name, each part by itself."""
    return {name: marshal.dumps(part) for name, part in data.items()}
