"""The identity of a content."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
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


def _plain_sum() -> Any:
    """What tells a content from a damaged one, as Python tells its own compiled files."""
    try:
        return partial(import_module("_imp").source_hash, SUM_KEY)
    except (ImportError, AttributeError):
        return lambda content: sha256(content).digest()[:SUM_BYTES]


SUM_KEY, SUM_BYTES = 0, 8

plain_sum: Callable[[bytes | memoryview], bytes] = _plain_sum()
"""`SUM_BYTES` bytes that another content hardly has, unless somebody meant it to."""


def digest_of(content: bytes) -> str:
    """The identity of a content, as text."""
    return str(sha256(content).hexdigest())
