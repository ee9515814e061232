"""From pieces and stages to a History: the one place where recipe, bodies and matter meet."""

from ..lazy import lazily

__getattr__, __dir__ = lazily(__name__)
