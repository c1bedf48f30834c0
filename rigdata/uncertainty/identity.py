"""Whether a source of uncertainty is the same thing in two campaigns.

It is the same only where it comes from the same thing: a calibration record of the same
id and content, or the same rig file.  Packs and runs are never the same, whatever their
names.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rigdata.uncertainty.sources import Scope

RADIUS_LAW = "radius-law"  # what the plates do, on whatever rig
_SHORT = 12  # digits of a hash


@dataclass(frozen=True)
class Origins:
    """Hashes of what the sources of one campaign come from.

    Attributes
    ----------
    records : mapping of str to str
        Content of each calibration record, by its id.
    rig, campaign : str
        The rig file and the campaign file.
    """

    records: Mapping[str, str]
    rig: str
    campaign: str

    def lasting_name(self, source: str, scope: Scope) -> str:
        """Return a name of a source that is the same in another campaign only if it is the same."""
        kind, *owners = source.split(":")
        if kind == RADIUS_LAW:
            return source
        if scope is not Scope.RIG:
            return f"{source}@{self.campaign[:_SHORT]}"
        known = next((self.records[part] for part in owners if part in self.records), self.rig)
        return f"{source}@{known[:_SHORT]}"
