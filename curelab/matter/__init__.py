"""What things are: solutes, tissue, brine, cure mixes. Pure functions and frozen records; no time in here."""
