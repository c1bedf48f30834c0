"""Can rigdata read my logger's own format?

    python examples/recipes/own_reader.py CAMPAIGN

A reader takes the path of a log and returns an open log, as `OpenLog` in rigdata/logs/block.py
describes it; one line says for which ending it is. Here the logs are packed with xz.
"""

import lzma
import re
import shutil
import sys
import tempfile
from pathlib import Path

import rigdata
from rigdata.logs.readers import READERS
from rigdata.logs.text import TextLog


def read_xz(path, settings, columns, block_bytes):
    plain = Path(tempfile.mkdtemp()) / path.stem
    plain.write_bytes(lzma.decompress(path.read_bytes()))
    return TextLog(plain, settings, columns, block_bytes)


READERS[".xz"] = read_xz

# A campaign with packed logs, made from one with plain logs.
given, packed = Path(sys.argv[1]), Path(tempfile.mkdtemp()) / "campaign"
shutil.copytree(given, packed, ignore=shutil.ignore_patterns("results"))
for log in packed.glob("logs/*.csv"):
    log.with_name(log.name + ".xz").write_bytes(lzma.compress(log.read_bytes(), preset=0))
    log.unlink()
file = packed / "campaign.toml"
rig = rigdata.read_campaign(given).rig.path.as_posix()
text = file.read_text(encoding="utf-8").replace('.csv"', '.csv.xz"')
file.write_text(re.sub("^rig = .*$", f'rig = "{rig}"', text, flags=re.M), encoding="utf-8")
reduction = rigdata.reduce_campaign(rigdata.read_campaign(packed))
print(f"{len(reduction.points)} friction points from packed logs")
