"""oplog: a log of field work, read from the tracks that machines and phones already write."""

__version__ = "0.1.0"
