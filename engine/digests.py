"""The identity of a content."""

from __future__ import annotations

from importlib import import_module

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import Any


def _plain_sha256() -> Any:
    """SHA-256 as Python carries it itself: `hashlib` brings in a whole library of ciphers first."""
    for name in ("_sha2", "_sha256"):
        try:
            return import_module(name).sha256
        except (ImportError, AttributeError):
            continue
    return import_module("hashlib").sha256


sha256 = _plain_sha256()


def digest_of(content: bytes) -> str:
    """The identity of a content, as text."""
    return str(sha256(content).hexdigest())
