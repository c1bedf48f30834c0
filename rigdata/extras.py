"""Packages that only one format or engine needs, imported when it is asked for."""

from __future__ import annotations

import importlib
from typing import Any

from rigdata.errors import RigdataError


def wanted_package(
    name: str, extra: str, error: type[RigdataError], *, needing: str = "format"
) -> Any:
    """Return a package, or a module of it, that an extra of this one brings.

    Parameters
    ----------
    name : str
        As it is imported.
    extra : str
        Extra of rigdata that installs it.
    error : type
        What to raise.
    needing : str
        What needs the package, in a word.

    Raises
    ------
    RigdataError
        Of the type given, when it is not installed; the message says how to get it.
    """
    try:
        return importlib.import_module(name)
    except ImportError:
        raise error(
            f"this {needing} needs the package {name.partition('.')[0]}, which is not installed",
            do=f"pip install 'rigdata[{extra}]', or choose another {needing}",
        ) from None
