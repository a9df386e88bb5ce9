"""Parts of the libraries that a plan does not use are loaded only if something asks for them.

The libraries load all of themselves when any part is imported, which takes longer than the plan. Called by
the processes that compute a plan, before anything else is imported; what is loaded late behaves the same.
"""

import sys
from collections.abc import Sequence
from functools import partial
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import ModuleSpec, PathFinder
from types import ModuleType

# Terrestrial links, fade dynamics and synthesis, drawing; statistics and integrals that only those use.
_OF_ITUR = ("plotting", "models.itu530", "models.itu1623", "models.itu1853")
_OF_SCIPY = ("stats", "integrate")
_OF_NUMPY = ("f2py",)  # a compiler of Fortran
# All of photovoltaics but the sun's place and the clear sky.
_OF_PVLIB = (
    "albedo", "bifacial", "iam", "inverter", "iotools", "ivtools", "location", "modelchain", "pvarray",
    "pvsystem", "scaling", "shading", "singlediode", "snow", "soiling", "spectrum", "temperature", "tracking",
    "transformer",
)  # fmt: skip
_PARTS = {"itur": _OF_ITUR, "scipy": _OF_SCIPY, "numpy": _OF_NUMPY, "pvlib": _OF_PVLIB}
# Functions that the libraries name when they load; a plan calls none of them, or has the module loaded then.
_FUNCTIONS = {
    "scipy.optimize": ("minimize_scalar", "bisect"),
    "scipy.interpolate": ("splev",),
    "scipy.linalg": ("hankel",),
}
LATER = frozenset(_FUNCTIONS) | {f"{library}.{part}" for library, parts in _PARTS.items() for part in parts}


class _LaterModule(ModuleType):
    """A module that is executed when the first thing in it is asked for, or one of its functions called."""

    def __getattr__(self, name: str) -> object:
        if name.startswith("__"):
            raise AttributeError(f"module {self.__name__!r} has no attribute {name!r}")
        if name in _FUNCTIONS.get(self.__name__, ()):
            return partial(_called, self, name)
        return getattr(_executed(self), name)


def _executed(module: ModuleType) -> ModuleType:
    if module.__spec__ is not None and isinstance(module.__spec__.loader, _LaterLoader):
        object.__setattr__(module, "__class__", ModuleType)
        module.__spec__.loader = module.__spec__.loader.real
        module.__spec__.loader.exec_module(module)
    return module


def _called(module: ModuleType, name: str, *arguments: object, **named: object) -> object:
    return getattr(_executed(module), name)(*arguments, **named)


class _LaterLoader(Loader):
    def __init__(self, real: Loader) -> None:
        self.real = real

    def create_module(self, spec: ModuleSpec) -> ModuleType:
        return _LaterModule(spec.name)

    def exec_module(self, module: ModuleType) -> None:
        """Nothing yet."""


class _LaterFinder(MetaPathFinder):
    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> ModuleSpec | None:
        spec = PathFinder.find_spec(fullname, path, target) if fullname in LATER else None
        if spec is not None and spec.loader is not None:
            spec.loader = _LaterLoader(spec.loader)
        return spec


def load_later() -> None:
    """From now on the parts in LATER wait until they are asked for."""
    sys.meta_path.insert(0, _LaterFinder())
