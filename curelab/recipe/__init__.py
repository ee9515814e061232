"""What a cook sets: pieces, stages, what to wait for, dates, and what earlier batches taught. Plain data; no solver in here."""

from ..lazy import lazily

__getattr__, __dir__ = lazily(__name__)
