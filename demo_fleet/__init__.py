"""An invented fleet with known truth, made by a seeded generator, written as the files that people have."""

from demo_fleet.blocks import write_blocks
from demo_fleet.files import DemoFiles, write
from demo_fleet.period import AS_OF

__all__ = ["AS_OF", "DemoFiles", "write", "write_blocks"]
