"""Records that cannot be changed: `dataclass(frozen=True)` of the standard library, but quick to define.

The standard library writes and compiles six methods for each class, which is a third of the time that this program
takes to load. Here one is compiled, when the first record is made, and the others are shared. Fields, defaults,
``replace``, ``fields`` and type checking are those of the standard library; fields that are keyword-only, ``ClassVar``
and ``InitVar`` are not known.
"""

from __future__ import annotations

import dataclasses
import inspect
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from dataclasses import dataclass

    __all__ = ["dataclass"]
else:
    from operator import attrgetter
    from reprlib import recursive_repr

    _MISSING = dataclasses.MISSING

    def dataclass(*, frozen: bool, eq: bool = True, repr: bool = True):
        """Return a decorator that makes a class a record; *eq* and *repr* as in the standard library."""
        if not frozen:
            message = "a record that can change is one of dataclasses"
            raise TypeError(message)

        def made(cls: type) -> type:
            own = set(cls.__dict__)
            if cls.__doc__ is None:
                cls.__doc__ = cls.__name__  # or the standard library works a signature out
            types = inspect.get_annotations(cls)
            cls.__annotations__ = dict.fromkeys(types, object)  # a text would be searched for ClassVar and the like
            dataclasses.dataclass(init=False, repr=False, eq=False)(cls)
            cls.__annotations__ = types
            members = dataclasses.fields(cls)
            for one in members:
                one.type = types.get(one.name, one.type)
            methods = {"__init__": _Init(cls, members), "__setattr__": _no_setting, "__delattr__": _no_deleting}
            if repr:
                methods["__repr__"] = _repr([one.name for one in members if one.repr])
            if eq:
                methods["__eq__"], methods["__hash__"] = _eq_and_hash(members)
            for name, method in methods.items():
                if name not in own or (name == "__hash__" and "__eq__" in own and cls.__hash__ is None):
                    setattr(cls, name, method)
            return cls

        return made

    class _Init:
        """Stands for ``__init__`` until it is asked for, and then puts the real one in its place."""

        def __init__(self, cls, members):
            self._made_for = cls, members

        def __get__(self, instance, owner=None):
            made = _init(*self._made_for)
            type.__setattr__(self._made_for[0], "__init__", made)
            return made.__get__(instance, owner)

    def _init(cls, members):
        scope = {"_set": object.__setattr__, "_missing": _MISSING}
        words, lines = ["self"], []
        for one in members:
            name, value = one.name, one.name
            if one.default is not _MISSING:
                scope[f"_default_{name}"] = one.default
                words.append(f"{name}=_default_{name}")
            elif one.default_factory is not _MISSING:
                scope[f"_default_{name}"] = one.default_factory
                words.append(f"{name}=_missing")
                value = f"_default_{name}() if {name} is _missing else {name}"
            else:
                words.append(name)
            lines.append(f" _set(self, {name!r}, {value})")
        if hasattr(cls, "__post_init__"):
            lines.append(" self.__post_init__()")
        exec(f"def __init__({', '.join(words)}):\n" + "\n".join(lines or [" pass"]), scope)
        init = scope["__init__"]
        init.__qualname__ = f"{cls.__qualname__}.__init__"
        init.__module__ = cls.__module__
        init.__annotations__ = {**{one.name: one.type for one in members}, "return": None}
        return init

    def _no_setting(self, name, value):
        message = f"cannot assign to field {name!r}"
        raise dataclasses.FrozenInstanceError(message)

    def _no_deleting(self, name):
        message = f"cannot delete field {name!r}"
        raise dataclasses.FrozenInstanceError(message)

    def _repr(names):
        @recursive_repr()
        def shown(self):
            return f"{type(self).__qualname__}({', '.join([f'{name}={getattr(self, name)!r}' for name in names])})"

        return shown

    def _values(names):
        """Return a function that gives the tuple of some attributes."""
        if len(names) > 1:
            return attrgetter(*names)
        return lambda self: tuple([getattr(self, name) for name in names])

    def _eq_and_hash(members):
        compared = _values([one.name for one in members if one.compare])
        hashed = _values([one.name for one in members if (one.compare if one.hash is None else one.hash)])

        def equal(self, other):
            if other.__class__ is self.__class__:
                return compared(self) == compared(other)
            return NotImplemented

        def digest(self):
            return hash(hashed(self))

        return equal, digest
