"""What a person reads and sees: reports, sentences, pictures as data, figures."""

WIDTH = 96  # columns of a printed line
