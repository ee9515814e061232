"""What things are: solutes, tissue, brine, cure mixes. Pure functions and frozen records; no time in here."""

from ..lazy import lazily

__getattr__, __dir__ = lazily(__name__)
