"""The plan on paper: dates, calendar, batch sheet, label, log, scaling and shopping."""

from ..lazy import lazily

__getattr__, __dir__ = lazily(__name__)
