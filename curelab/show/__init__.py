"""What a person reads and sees: reports, sentences, pictures as data, figures."""
