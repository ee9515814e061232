"""The plan on paper: dates, calendar, batch sheet, label, log, scaling and shopping."""
