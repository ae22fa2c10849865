"""batsim: discrete-event simulation of motive-power battery rooms.

    >>> import batsim
    >>> site = batsim.read("scenarios/kestrel-lane.yaml")            # doctest: +SKIP
    >>> batsim.compare(site, batsim.Settings(replications=20))       # doctest: +SKIP

Public names stand in ``__init__.pyi``; they are loaded when they are first used, so that `import batsim` is quick.
"""

import lazy_loader

__version__ = "0.1.0"
__getattr__, _public, __all__ = lazy_loader.attach_stub(__name__, __file__)


def __dir__() -> list[str]:
    return sorted([*_public(), "__version__"])
