"""What a cook sets: pieces, stages, what to wait for, dates, and what earlier batches taught. Plain data; no solver in here."""
