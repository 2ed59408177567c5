"""Files on what happened: events, strides and what else a movement holds."""
