"""The campaign.toml of a plan: complete but for the logs, which are still to be made."""

from __future__ import annotations

import dataclasses
import json
import os
import re
from collections.abc import Mapping
from pathlib import Path

from rigdata.campaign.campaign import Material, Oil, Pack, Reference
from rigdata.campaign.keys import keys_of
from rigdata.planning.plan import Plan
from rigdata.storage.toml_text import TomlValue, toml_table

LOGS = "logs"
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def campaign_text(plan: Plan, folder: Path) -> str:
    """Return the text of campaign.toml for the folder that it will lie in.

    Runs stand in the order to be made; where the plan has no first day, the dates are to be
    filled in.
    """
    request = plan.request
    rig = os.path.relpath(request.rig.path, folder.resolve())
    top: dict[str, TomlValue] = {"format": 1, "name": request.name}
    top |= {"rig": Path(rig).as_posix(), "baseline": request.baseline}
    parts = [
        "# Planned with 'rigdata plan'. Put each log where its run says, and state what the\n"
        "# sheet says: date, remark, or exclude = \"why\". 'rigdata check' shows how far it is.\n",
        toml_table("", top),
        toml_table("[reference]", _keys(request.reference)),
    ]
    if request.oil is not None:
        parts.append(toml_table("[oil]", _keys(request.oil)))
    parts += [
        toml_table(_title("materials", name), _keys(material))
        for name, material in request.materials.items()
    ]
    for block in plan.blocks:
        own = dataclasses.replace(
            request.pack, material=block.group.material, batch=block.group.batch
        )
        parts.append(toml_table(_title("packs", block.pack), _keys(own)))
    days = plan.dates
    for block in plan.blocks:
        for run in block.runs:
            keys: dict[str, TomlValue] = {"id": run.id, "pack": run.pack}
            keys |= {"procedure": run.test.procedure, "log": f"{LOGS}/{run.id}.csv"}
            if days:
                keys["date"] = days[block.day - 1]
            words = f"{run.purpose}: {run.test.setting}" if run.purpose else run.test.setting
            parts.append(toml_table("[[runs]]", keys | {"remark": words}))
    return "\n".join(parts)


def _keys(thing: Reference | Oil | Material | Pack) -> Mapping[str, TomlValue]:
    """Return the keys of a table of the campaign file, less those left at their default."""
    own: type = type(thing)
    keys = {field.name: getattr(thing, field.name) for field in keys_of(own)}
    defaults = {field.name: field.default for field in keys_of(own) if not field.required}
    return {
        name: value
        for name, value in keys.items()
        if value is not None and (name not in defaults or value != defaults[name])
    }


def _title(table: str, name: str) -> str:
    quoted = name if _BARE.fullmatch(name) else json.dumps(name, ensure_ascii=False)
    return f"[{table}.{quoted}]"
