"""What a person reads and sees: reports, sentences, pictures as data, figures."""

from ..lazy import lazily

__getattr__, __dir__ = lazily(__name__)
