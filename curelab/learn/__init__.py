"""Learning from a batch: what its readings say about this meat and this fridge, and what that does to the plan."""

from ..lazy import lazily

__getattr__, __dir__ = lazily(__name__)
