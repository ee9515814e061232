"""The geometry of a piece: terms, volumes, stiffness, faces and readouts. No solute, no temperature and no kitchen in here."""
