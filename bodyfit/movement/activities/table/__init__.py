"""How well windows fit each activity: the trained table, and its adaptation to the wearer."""
