"""What several values make together: tuples whose parts have names.

`Record` is to be used as `typing.NamedTuple` is, and is that to a type checker. While a program runs it is
made here, because the library's writes and compiles a text for every class, which takes a cold call longer
than sizing a small project does.
"""

from __future__ import annotations

TYPE_CHECKING = False

if TYPE_CHECKING:
    from typing import NamedTuple as Record
else:
    from _collections import _tuplegetter

    _NOWHERE = object()

    class _Maker(type):
        """Makes a class of tuples of a class with annotations; a default is what an annotated name is set to."""

        def __new__(cls, name, bases, space):
            space["__slots__"] = ()
            if tuple in bases:
                return super().__new__(cls, name, bases, space)
            fields = tuple(space.get("__annotations__", ()))
            space["_fields"] = space["__match_args__"] = fields
            space["_field_defaults"] = {field: space[field] for field in fields if field in space}
            space.update((field, _tuplegetter(place, "")) for place, field in enumerate(fields))
            return super().__new__(cls, name, bases, space)

    class Record(tuple, metaclass=_Maker):
        """A tuple whose parts have names."""

        def __new__(cls, *given, **named):
            if named or len(given) != len(cls._fields):
                given = cls._complete(given, named)
            return tuple.__new__(cls, given)

        @classmethod
        def _complete(cls, given, named):
            """Every part in order, those left out from the defaults."""
            rest = cls._fields[len(given) :]
            parts = [named.pop(field, cls._field_defaults.get(field, _NOWHERE)) for field in rest]
            lacking = [field for field, part in zip(rest, parts, strict=True) if part is _NOWHERE]
            if lacking or named or len(given) > len(cls._fields):
                what = ", ".join([*lacking, *named]) or f"{len(given)} parts"
                raise TypeError(f"{cls.__name__}({', '.join(cls._fields)}) is not made like this: {what}")
            return (*given, *parts)

        @classmethod
        def _make(cls, parts):
            return cls(*parts)

        def _replace(self, **named):
            return type(self)(**{**self._asdict(), **named})

        def _asdict(self):
            return dict(zip(self._fields, self, strict=True))

        def __getnewargs__(self):
            return tuple(self)

        def __repr__(self):
            parts = ", ".join(f"{field}={part!r}" for field, part in self._asdict().items())
            return f"{type(self).__name__}({parts})"


__all__ = ["Record"]
