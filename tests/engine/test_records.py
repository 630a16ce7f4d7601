"""Our tuples with named parts behave as those of the library, which the type checker takes them for."""

from __future__ import annotations

import copy
import pickle
from typing import NamedTuple

import pytest

from gaugebook.records import Record


class Ours(Record):
    """Ours."""

    name: str
    size: int = 3
    tags: tuple[str, ...] = ()

    @property
    def twice(self) -> int:
        """A property beside the parts."""
        return self.size * 2


class Theirs(NamedTuple):
    """Theirs."""

    name: str
    size: int = 3
    tags: tuple[str, ...] = ()


MADE = [(("a",), {}), (("a", 5), {}), (("a", 5, ("x",)), {}), ((), {"name": "a"}), (("a",), {"tags": ("y",)})]


@pytest.mark.parametrize(("given", "named"), MADE)
def test_made_alike(given: tuple[object, ...], named: dict[str, object]) -> None:
    ours, theirs = Ours(*given, **named), Theirs(*given, **named)  # type: ignore[arg-type]
    assert tuple(ours) == tuple(theirs)
    assert ours == theirs
    assert hash(ours) == hash(theirs)
    assert ours._asdict() == theirs._asdict()
    assert repr(ours) == repr(theirs).replace("Theirs", "Ours")
    assert ours._replace(size=9) == theirs._replace(size=9)
    assert (ours.name, ours.size, ours.tags, ours.twice) == (*theirs, theirs.size * 2)
    assert type(ours._replace(size=9)) is Ours


@pytest.mark.parametrize(
    ("given", "named"),
    [((), {}), (("a", 1, (), 2), {}), (("a",), {"name": "b"}), (("a",), {"weight": 1}), ((), {"size": 1})],
)
def test_refused_alike(given: tuple[object, ...], named: dict[str, object]) -> None:
    for kind in (Ours, Theirs):
        with pytest.raises(TypeError):
            kind(*given, **named)  # type: ignore[arg-type]


def test_cannot_be_changed() -> None:
    with pytest.raises(AttributeError):
        Ours("a").size = 4  # type: ignore[misc]
    with pytest.raises(AttributeError):
        Ours("a").weight = 4  # type: ignore[attr-defined]


def test_copied_and_pickled() -> None:
    record = Ours("a", 2, ("x",))
    assert copy.deepcopy(record) == record
    again = pickle.loads(pickle.dumps(record))
    assert again == record
    assert type(again) is Ours


def test_known_fields() -> None:
    assert Ours._fields == Theirs._fields
    assert Ours._field_defaults == Theirs._field_defaults
    match Ours("a", 2):
        case Ours(name, size):
            assert (name, size) == ("a", 2)
