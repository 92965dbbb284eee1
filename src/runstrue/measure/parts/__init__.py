"""Which part makes which flutter: shares of the parts, one turn of a part, and what if."""
